package queries

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"

	"scanledger/ingest/store"
	"scanledger/queries/sampling"
)

// Sample is an audit sample: what was drawn, by which rule, from which frame.
type Sample struct {
	Name     string           `json:"name"`
	Month    string           `json:"month"` // local, YYYY-MM
	Seed     uint64           `json:"seed"`
	AsOf     string           `json:"as_of"` // day of the newest record seen
	Rule     sampling.Rule    `json:"rule"`
	Sizes    sampling.Sizes   `json:"sizes"`
	Shows    sampling.Shows   `json:"shows"`
	Signs    []Sign           `json:"signs_of_risk"`
	Notes    []string         `json:"notes"`
	FrameSum string           `json:"frame_sha256"` // of frame.csv as it was drawn, ids and all
	Frame    []store.FrameRow `json:"-"`            // in the order in which it was drawn from
}

// SampleName tells samples apart: the same month, rule and seed are the same sample.
func SampleName(month string, rule sampling.Rule, seed uint64) string {
	return fmt.Sprintf("%s-%s-seed-%d", month, rule, seed)
}

var sampleName = regexp.MustCompile(`^(\d{4}-\d{2})-(?:size-(\d+)|detect-([\d.]+)-confidence-([\d.]+)|plan-(S-[1-4]|I{1,3})-aql-([\d.]+))` +
	`-risk-([\d.]+)(?:-openings-(\d+))?-seed-(\d+)$`)

// ParseSampleName tells the month, rule and seed of a sample from its name.
func ParseSampleName(name string) (month string, rule sampling.Rule, seed uint64, err error) {
	m := sampleName.FindStringSubmatch(name)
	if m == nil {
		return "", rule, 0, fmt.Errorf("%q is no name of a sample", name)
	}
	var errs []error
	number := func(text string) float64 {
		if text == "" {
			return 0
		}
		v, err := strconv.ParseFloat(text, 64)
		errs = append(errs, err)
		return v
	}
	whole := func(text string) int {
		if text == "" {
			return 0
		}
		v, err := strconv.Atoi(text)
		errs = append(errs, err)
		return v
	}
	rule = sampling.Rule{Size: whole(m[2]), Detect: number(m[3]), Confidence: number(m[4]), Level: m[5], AQL: number(m[6]), RiskShare: number(m[7])}
	if m[8] != "" {
		openings := whole(m[8])
		rule.Openings = &openings
	}
	seed, err = strconv.ParseUint(m[9], 10, 64)
	if err := errors.Join(append(errs, err)...); err != nil {
		return "", rule, 0, fmt.Errorf("%q is no name of a sample: %w", name, err)
	}
	return m[1], rule, seed, nil
}

// DrawSample draws a sample from a frame. An empty frame and a rule the frame is too small for are errors.
func DrawSample(month, asOf string, rule sampling.Rule, seed uint64, frame []store.FrameRow) (Sample, error) {
	s := Sample{Name: SampleName(month, rule, seed), Month: month, Seed: seed, AsOf: asOf, Rule: rule, Signs: Signs(), Frame: frame, Notes: sampleNotes}
	if len(frame) == 0 {
		return s, fmt.Errorf("no point of %s can be drawn: there are no active or clear calls outside rechecks", month)
	}
	var err error
	if s.Sizes, err = rule.Sizes(len(frame)); err != nil {
		return s, err
	}
	if s.Shows, err = sampling.WhatItShows(s.Sizes); err != nil {
		return s, err
	}
	if err := sampling.Draw(s.Frame, s.Sizes, seed, month); err != nil {
		return s, err
	}
	csv, err := s.FrameCSV()
	s.FrameSum = fmt.Sprintf("%x", sha256.Sum256(csv))
	return s, err
}

var sampleNotes = []string{
	"Every point-visit of the month with an active or clear call could be drawn, but for rechecks, which are checks themselves.",
	"Each drawn point is tested again, blind, by someone else, as an inspection with purpose recheck and recheck_of naming the one drawn. A clear point chosen for it is then opened, whatever the recheck showed, and the finding entered as any other.",
	"The part weighted to risk is drawn first (systematic sampling with chances in proportion to the score; Madow 1949), the random part from what that leaves of each technician, in proportion, with one each at least where there are as many draws as technicians.",
	"chance is exact over both parts and every start of the draw; the chances of the frame add up to the size of the sample. An answer counts 1 / chance points (Horvitz and Thompson 1952).",
	"The same month, rule and seed give the sample that was kept, whatever has come in since.",
	"Before any opening: old fibre cement may hold asbestos, cables and pipes run in walls, and local codes and licensed practice decide. A clear reading never proves absence.",
}

// DrawnItem is one drawn point with what is to be done.
type DrawnItem struct {
	Nth          int     `json:"nth"`
	InspectionID string  `json:"inspection_id"`
	SiteID       string  `json:"site_id"`
	PointID      string  `json:"point_id"`
	Region       string  `json:"region"`
	TechnicianID string  `json:"technician_id"`
	UnitID       string  `json:"unit_id"`
	Material     string  `json:"material"`
	LocalDate    string  `json:"local_date"`
	DueBy        string  `json:"due_by"`
	Call         string  `json:"call"`
	Part         string  `json:"part"`
	Chance       float64 `json:"chance"`
	Weight       float64 `json:"weight"` // points of the frame it stands for: 1 / chance
	Score        int32   `json:"score"`
	Reason       string  `json:"reason"`
	Recheck      bool    `json:"recheck"`     // still to be tested again
	Open         bool    `json:"open"`        // still to be opened
	OpenChance   float64 `json:"open_chance"` // of being drawn and opened; 0 where it is not chosen to be
}

// Items lists the drawn points by region, site, inspection and point.
func (s Sample) Items() []DrawnItem {
	out := []DrawnItem{}
	for _, r := range s.Frame {
		if r.Part == "" {
			continue
		}
		item := DrawnItem{0, r.InspectionID, r.SiteID, r.PointID, r.Region, r.TechnicianID, r.UnitID, r.Material, r.LocalDate, r.DueBy, r.Call, r.Part, r.Chance, 1 / r.Chance,
			r.Score, "drawn at random", !r.Rechecked, r.Open && !r.Verified, r.OpenChance}
		if r.Part == sampling.Risk {
			item.Reason = "weighted to risk: " + orNone(r.Reasons)
		}
		out = append(out, item)
	}
	slices.SortFunc(out, func(a, b DrawnItem) int {
		return slices.Compare([]string{a.Region, a.SiteID, a.InspectionID, a.PointID}, []string{b.Region, b.SiteID, b.InspectionID, b.PointID})
	})
	for i := range out {
		out[i].Nth = i + 1
	}
	return out
}

func orNone(reasons string) string {
	if reasons == "" {
		return "no sign of risk; every point has some chance"
	}
	return reasons
}

// JSON is the sample with its drawn points.
func (s Sample) JSON() ([]byte, error) {
	out, err := json.MarshalIndent(struct {
		Sample
		Items []DrawnItem `json:"items"`
	}{s, s.Items()}, "", " ")
	return append(out, '\n'), err
}

// CSV is the drawn points.
func (s Sample) CSV() ([]byte, error) { return Result{Rows: s.Items()}.CSV() }

// FrameCSV is every point that could have been drawn, with its chance.
func (s Sample) FrameCSV() ([]byte, error) { return Result{Rows: s.Frame}.CSV() }
