// Package sampling draws audit samples.
//
// In: the frame of a month, which is every point-visit that could be checked again, with its score of
// risk; a rule for the size; a seed. Out: which points to check, with the exact chance each had of
// being drawn, and what a sample without faults would and would not show. The same frame, rule and seed
// give the same sample. It never reads records, asks what a check found, or judges anyone.
package sampling
