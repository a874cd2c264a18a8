// Package people judges technicians by counts.
//
// In: a panel of counts by technician, site, month and conditions. Out: how each technician's calls compare
// with what their conditions would give (Compare), and how they change against themselves (Watch). It never
// runs SQL, knows a name, draws a picture or ranks anyone.
package people
