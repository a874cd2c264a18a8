package main

import (
	"errors"
	"fmt"

	"scanledger/ingest/store"
	"scanledger/queries"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

type verifyCmd struct {
	Store string `required:"" help:"Folder of the store." type:"path" placeholder:"DIR"`
}

// verified is what verify recomputed.
type verified struct {
	Loads int   `json:"loads"`
	Files int   `json:"files"`
	Parts int   `json:"parts"`
	Rows  int64 `json:"rows"`
	Sound bool  `json:"sound"`
}

// Run recomputes and compares.
func (c *verifyCmd) Run(a *app) error {
	out, err := a.verify(c.Store)
	if err != nil {
		return err
	}
	if a.json {
		return a.object(out)
	}
	return a.saySound(out)
}

func (a *app) saySound(v verified) error {
	return a.say("sound: %d loads, %d record files, %d parts, %d rows; every checksum and count agrees", v.Loads, v.Files, v.Parts, v.Rows)
}

// verify reads a whole store again. Its errors name every damaged file, or else the first count that does not agree.
func (a *app) verify(dir string) (out verified, err error) {
	_, err = a.latest(dir, true, func(st *store.Store) error {
		out, err = a.recount(st)
		return err
	})
	return out, err
}

func (a *app) recount(st *store.Store) (out verified, err error) {
	if err := st.Verify(a.ctx); err != nil {
		return out, err
	}
	eng, err := engine.Open(a.ctx, a.engine())
	if err != nil {
		return out, err
	}
	defer func() { err = errors.Join(err, eng.Close()) }()
	newest := len(st.Manifest.Loads)
	if err := settle.Views(a.ctx, eng, st, newest); err != nil {
		return out, err
	}
	rows, err := queries.Recount(a.ctx, eng, st, newest)
	if err != nil {
		return out, err
	}
	out = verified{Loads: newest, Files: len(rows), Parts: len(st.Manifest.Parts), Sound: true}
	for i, f := range st.Manifest.Files {
		r := rows[i]
		again := store.Counts{Rows: r.Rows, Accepted: r.Accepted, Duplicate: r.Duplicate, Corrected: r.Corrected, Waiting: r.Waiting, Rejected: r.Rejected}
		if again != f.Now {
			return out, fmt.Errorf("verify: counts of %s: the manifest says %+v, its rows say %+v; rebuild the store with: scanledger repair --store %s --into NEW",
				f.Name, f.Now, again, st.Dir)
		}
		out.Rows += f.Now.Rows
	}
	return out, nil
}
