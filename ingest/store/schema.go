package store

import (
	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/compress"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"

	"scanledger/ingest/contract"
)

// Lineage columns stand behind the contract's columns in every data and pool part.
const (
	FileColumn  = "_file"  // number of the record file in the manifest
	LineColumn  = "_line"  // physical line in it
	LocalColumn = "_local" // pool only: bit c is set where column c is a wall clock that waits for a time zone
)

var arrowTypes = map[contract.Kind]arrow.DataType{
	contract.Text:      arrow.BinaryTypes.String,
	contract.Integer:   arrow.PrimitiveTypes.Int32,
	contract.Number:    arrow.PrimitiveTypes.Float64,
	contract.Boolean:   arrow.FixedWidthTypes.Boolean,
	contract.Date:      arrow.FixedWidthTypes.Date32,
	contract.Timestamp: &arrow.TimestampType{Unit: arrow.Microsecond, TimeZone: "UTC"},
}

// Schema is the Arrow schema of a data part of set, or of its pool part.
func Schema(set *contract.Set, pool bool) *arrow.Schema {
	var fields []arrow.Field
	for _, f := range set.Fields {
		fields = append(fields, arrow.Field{Name: f.Name, Type: arrowTypes[f.Kind()], Nullable: true})
	}
	fields = append(fields,
		arrow.Field{Name: FileColumn, Type: arrow.PrimitiveTypes.Int32, Nullable: true},
		arrow.Field{Name: LineColumn, Type: arrow.PrimitiveTypes.Int64, Nullable: true})
	if pool {
		fields = append(fields, arrow.Field{Name: LocalColumn, Type: arrow.PrimitiveTypes.Int32, Nullable: true})
	}
	return arrow.NewSchema(fields, nil)
}

// writerOptions fixes how each column is laid out. Dictionaries are kept to columns of few values:
// on others the writer may fall back half way, and then its footer differs from run to run.
func writerOptions(schema *arrow.Schema) (*parquet.WriterProperties, pqarrow.ArrowWriterProperties) {
	opts := []parquet.WriterProperty{
		parquet.WithCompression(compress.Codecs.Zstd),
		parquet.WithCompressionLevel(3),
		parquet.WithDictionaryDefault(false),
		parquet.WithStats(true),
		parquet.WithCreatedBy("scanledger"),
		parquet.WithVersion(parquet.V2_6),
	}
	for _, f := range schema.Fields() {
		switch {
		case fewValues[f.Name]:
			opts = append(opts, parquet.WithDictionaryFor(f.Name, true))
		case arrow.TypeEqual(f.Type, arrow.BinaryTypes.String):
			opts = append(opts, parquet.WithEncodingFor(f.Name, parquet.Encodings.DeltaByteArray))
		case arrow.TypeEqual(f.Type, arrow.PrimitiveTypes.Float64), f.Type.ID() == arrow.BOOL:
			opts = append(opts, parquet.WithEncodingFor(f.Name, parquet.Encodings.Plain))
		default:
			opts = append(opts, parquet.WithEncodingFor(f.Name, parquet.Encodings.DeltaBinaryPacked))
		}
	}
	return parquet.NewWriterProperties(opts...),
		pqarrow.NewArrowWriterProperties(pqarrow.WithStoreSchema())
}

// fewValues names the columns whose values come from a closed list of the contract.
var fewValues = enumColumns()

func enumColumns() map[string]bool {
	out := map[string]bool{"fate": true, "record_set": true, "rule": true}
	for _, s := range contract.Sets() {
		for _, f := range s.Fields {
			if len(f.Constraints.Enum) > 0 {
				out[f.Name] = true
			}
		}
	}
	return out
}
