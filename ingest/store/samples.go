package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"

	"scanledger/ingest/disk"
)

// FrameRow is one point of one inspection that an audit sample could have drawn, and whether it did.
type FrameRow struct {
	Sample       string  `json:"sample"` // which draw; see WriteSample
	Month        string  `json:"month"`  // local, of the inspection
	InspectionID string  `json:"inspection_id"`
	SiteID       string  `json:"site_id"`
	PointID      string  `json:"point_id"`
	Region       string  `json:"region"`
	TechnicianID string  `json:"technician_id"`
	UnitID       string  `json:"unit_id"`
	Material     string  `json:"material"`
	LocalDate    string  `json:"local_date"`
	DueBy        string  `json:"due_by"` // last day on which a finding still tells about the visit
	Call         string  `json:"call"`
	Score        int32   `json:"score"`       // size in the part weighted to risk; 1 and over
	Reasons      string  `json:"reasons"`     // what the score is made of
	Rechecked    bool    `json:"rechecked"`   // someone else's recheck was there before the draw
	Verified     bool    `json:"verified"`    // a decisive finding was
	Chance       float64 `json:"chance"`      // of being drawn, over both parts; above 0, at most 1
	Part         string  `json:"part"`        // random or risk; empty: not drawn
	Open         bool    `json:"open"`        // drawn, clear, and chosen to be opened
	OpenChance   float64 `json:"open_chance"` // of being drawn and, given who was, of being opened; 0 where it is not
}

var frameSchema = arrow.NewSchema([]arrow.Field{
	textField("sample"), textField("month"), textField("inspection_id"), textField("site_id"), textField("point_id"), textField("region"),
	textField("technician_id"), textField("unit_id"), textField("material"), textField("local_date"), textField("due_by"), textField("call"),
	textField("reasons"), textField("part"),
	{Name: "score", Type: arrow.PrimitiveTypes.Int32, Nullable: true},
	{Name: "rechecked", Type: arrow.FixedWidthTypes.Boolean, Nullable: true},
	{Name: "verified", Type: arrow.FixedWidthTypes.Boolean, Nullable: true},
	{Name: "chance", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
	{Name: "open", Type: arrow.FixedWidthTypes.Boolean, Nullable: true},
	{Name: "open_chance", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
}, nil)

// SamplePath is where the description (.json) or the frame (.parquet) of a sample stands.
func SamplePath(name, ending string) string { return string(Samples) + "/" + name + ending }

// ReadSample reads the description of a sample into doc, and says whether the store holds that sample.
func (s *Store) ReadSample(name string, doc any) (held bool, err error) {
	p, held := s.part(func(p Part) bool { return p.FirstPath() == SamplePath(name, ".json") })
	if !held {
		return false, nil
	}
	raw, err := os.ReadFile(s.Path(p))
	if err == nil {
		err = json.Unmarshal(raw, doc)
	}
	if err != nil {
		return true, fmt.Errorf("read sample %s: %w; %s", name, err, remedy(s.Dir))
	}
	return true, nil
}

// SampleFrames lists the frames of the samples drawn by load upTo, in the order in which they were drawn.
func (s *Store) SampleFrames(upTo int) []string {
	var out []string
	for _, path := range s.Paths(Samples, "", upTo) {
		if isParquet(path) {
			out = append(out, path)
		}
	}
	return out
}

// WriteSample stages a sample of the named month: its description and its frame, given in order. A
// sample is no load: it belongs to the newest one, for it was drawn from what that left.
func (t *Txn) WriteSample(name, month string, doc any, frame []FrameRow) error {
	t.Load = len(t.Manifest.Loads)
	path, err := t.sampleDoc(name, doc)
	if err != nil {
		return err
	}
	if err := t.Add(Part{Kind: Samples, Path: SamplePath(name, ".json"), Month: month, Rows: 1}, path); err != nil {
		return err
	}
	if path, err = t.sampleFrame(frame); err != nil {
		return err
	}
	return t.Add(Part{Kind: Samples, Path: SamplePath(name, ".parquet"), Month: month, Rows: int64(len(frame))}, path)
}

// RestoreSample stages the description or the frame of a sample that was drawn again, whichever p is, and reports whether
// it is what was written; another is not staged.
func (t *Txn) RestoreSample(p Part, name string, doc any, frame []FrameRow) (same bool, err error) {
	path := ""
	if isParquet(p.Path) {
		path, err = t.sampleFrame(frame)
	} else {
		path, err = t.sampleDoc(name, doc)
	}
	if err != nil {
		return false, err
	}
	same, err = t.Restore(p, path)
	if !same {
		err = errors.Join(err, remove(path))
	}
	return same, err
}

func (t *Txn) sampleDoc(name string, doc any) (path string, err error) {
	raw, err := json.MarshalIndent(doc, "", " ")
	if err != nil {
		return "", fmt.Errorf("stage sample %s: %w", name, err)
	}
	path = t.StagePath("sample.json")
	return path, partError(path, disk.Write(path, append(raw, '\n')))
}

func (t *Txn) sampleFrame(frame []FrameRow) (path string, err error) {
	path = t.StagePath("frame.parquet")
	return path, writeFrame(path, frame)
}

func writeFrame(path string, frame []FrameRow) error {
	return writeTable(path, frameSchema, frame, func(b *array.RecordBuilder, r FrameRow) {
		appendTexts(b, []int{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13}, r.Sample, r.Month, r.InspectionID, r.SiteID, r.PointID, r.Region,
			r.TechnicianID, r.UnitID, r.Material, r.LocalDate, r.DueBy, r.Call, r.Reasons, r.Part)
		b.Field(14).(*array.Int32Builder).Append(r.Score)
		b.Field(15).(*array.BooleanBuilder).Append(r.Rechecked)
		b.Field(16).(*array.BooleanBuilder).Append(r.Verified)
		b.Field(17).(*array.Float64Builder).Append(r.Chance)
		b.Field(18).(*array.BooleanBuilder).Append(r.Open)
		b.Field(19).(*array.Float64Builder).Append(r.OpenChance)
	})
}

// ReadFrame reads the frame of a sample the store holds, in its order.
func (s *Store) ReadFrame(ctx context.Context, name string) ([]FrameRow, error) {
	p, listed := s.part(func(p Part) bool { return p.FirstPath() == SamplePath(name, ".parquet") })
	if !listed {
		return nil, fmt.Errorf("read sample %s: the manifest does not list its frame; run: scanledger verify --store %s", name, s.Dir)
	}
	return readFrame(ctx, s.Path(p))
}

func readFrame(ctx context.Context, path string) ([]FrameRow, error) {
	var out []FrameRow
	err := readRecords(ctx, path, func(rec arrow.RecordBatch) error {
		text := func(c, i int) string { return textAt(rec, c, i) }
		for i := range int(rec.NumRows()) {
			out = append(out, FrameRow{Sample: text(0, i), Month: text(1, i), InspectionID: text(2, i), SiteID: text(3, i), PointID: text(4, i), Region: text(5, i),
				TechnicianID: text(6, i), UnitID: text(7, i), Material: text(8, i), LocalDate: text(9, i), DueBy: text(10, i), Call: text(11, i),
				Reasons: text(12, i), Part: text(13, i), Score: rec.Column(14).(*array.Int32).Value(i), Rechecked: rec.Column(15).(*array.Boolean).Value(i),
				Verified: rec.Column(16).(*array.Boolean).Value(i), Chance: rec.Column(17).(*array.Float64).Value(i),
				Open: rec.Column(18).(*array.Boolean).Value(i), OpenChance: rec.Column(19).(*array.Float64).Value(i)})
		}
		return nil
	})
	return out, err
}
