package store

import (
	"fmt"

	"scanledger/ingest/contract"
)

// firstLayout is the oldest layout that upgrade knows.
const firstLayout = 1

// upgrade brings a manifest that was read to the layout of this program; a store is upgraded on disk by the next that is
// written to it. A newer layout is an error: what it says more would be lost.
func (m *Manifest) upgrade() error {
	if v := m.SchemaVersion; v < firstLayout || v > contract.SchemaVersion {
		return fmt.Errorf("it has schema version %d, this program reads %d to %d; use a matching version of scanledger", v, firstLayout, contract.SchemaVersion)
	}
	m.SchemaVersion = contract.SchemaVersion // 1 to 2: nothing had been removed, and nothing says otherwise
	return nil
}
