package transform

import (
	"context"
	"fmt"
	"math"

	"scanledger/transform/engine"
)

// DefaultMostSites is the most sites that are clusters each for themselves. (House's choice: as many as a count table of a
// month can hold without being longer than what it counts.)
const DefaultMostSites = 4096

// Sites are clusters, and beyond DefaultMostSites of them random groups of sites are (the random groups of Wolter 2007, chapter 2;
// with as many as siteGroups a standard error is itself good to 5 %). What an analysis has to read is so bounded.
//
// Where what is counted for each cluster tells circumstances apart, so many clusters would hold a point or two each: then it is
// circumstanceGroups of each technician, or stratum, with a standard error good to 13 %. And as few as pooledGroups are enough where
// the variance is pooled over all technicians, or over all units: of ten of them it is good to 8 %. They divide circumstanceGroups.
const (
	siteGroups         = 256
	circumstanceGroups = 30
	pooledGroups       = 10
)

// Clusters are the numbers that site_key is divided by, so that the remainder says the cluster; larger than any site_key where
// every site is one. They are columns of params, and so is sites_grouped.
type Clusters struct {
	Sites         int64 // site_groups
	Circumstances int64 // circumstance_groups
	Pooled        int64 // pooled_groups
}

// Grouped reports whether there are fewer clusters than sites.
func (c Clusters) Grouped() bool { return c.Sites < math.MaxInt64 }

// clusters decides for so many sites.
func clusters(sites, most int) Clusters {
	if sites <= most {
		return Clusters{math.MaxInt64, math.MaxInt64, math.MaxInt64}
	}
	return Clusters{siteGroups, circumstanceGroups, pooledGroups}
}

// ClustersOf reads what the count tables were made with.
func ClustersOf(ctx context.Context, e engine.SQL) (c Clusters, err error) {
	err = e.Each(ctx, "SELECT site_groups, circumstance_groups, pooled_groups FROM params", nil, func(scan func(...any) error) error {
		return scan(&c.Sites, &c.Circumstances, &c.Pooled)
	})
	if err != nil {
		return c, fmt.Errorf("read the clusters of sites: %w", err)
	}
	return c, nil
}
