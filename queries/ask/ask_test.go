package ask_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/queries/ask"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// asked is a guarded engine over a store of two technicians, and the folder that it lies in, in which there is a file
// called secret.csv.
func asked(t *testing.T) (e *engine.Engine, dir string) {
	t.Helper()
	ctx, dir := context.Background(), t.TempDir()
	for name, content := range map[string]string{"technicians.csv": "technician_id,name\nT1,=One\nT2,Two\n", "secret.csv": "a\nsecret\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	storeDir := filepath.Join(dir, "store")
	if _, err := settle.Load(ctx, storeDir, []string{filepath.Join(dir, "technicians.csv")}, settle.Options{ReceivedAt: time.Unix(0, 0)}); err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(storeDir)
	if err != nil {
		t.Fatal(err)
	}
	if e, err = engine.Open(ctx, engine.Options{MemoryLimit: "256MiB"}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = e.Close() })
	if _, err := ask.Open(ctx, e, st, 1, ""); err != nil {
		t.Fatal(err)
	}
	return e, dir
}

func answer(ctx context.Context, e *engine.Engine, query string) (string, error) {
	var out []string
	err := ask.Rows(ctx, e, query, func([]string) error { return nil }, func(cells []ask.Cell) error {
		var row []string
		for _, c := range cells {
			row = append(row, c.Text)
		}
		out = append(out, strings.Join(row, "|"))
		return nil
	})
	return strings.Join(out, "\n"), err
}

func TestAnswers(t *testing.T) {
	e, _ := asked(t)
	for query, want := range map[string]string{
		"SELECT technician_id, name FROM technicians ORDER BY 1":                                                                   "T1|=One\nT2|Two",
		"FROM technicians SELECT count(*)":                                                                                         "2",
		"WITH x AS (SELECT 1.5 AS a) SELECT a, NULL, true, 'x' FROM x":                                                             "1.5||true|x",
		"SELECT DATE '2026-03-01', TIMESTAMPTZ '2026-03-01 00:00:00+00', CAST(170141183460469231731687303715884105727 AS HUGEINT)": "2026-03-01|2026-03-01T00:00:00Z|170141183460469231731687303715884105727",
		"SELECT 'nan'::DOUBLE, [1, 2], 1.25::DECIMAL(6,2)":                                                                         "NaN|[1, 2]|1.25",
		"SELECT count(*) FROM (SELECT i FROM range(3000000) r(i) ORDER BY hash(i))":                                                "3000000",
	} {
		if got, err := answer(context.Background(), e, query); err != nil || got != want {
			t.Errorf("%s: %q, %v; want %q", query, got, err, want)
		}
	}
}

// TestHostileQuestions: no file is read but the store's, none is written, nothing is loaded, attached, set or fetched.
func TestHostileQuestions(t *testing.T) {
	e, dir := asked(t)
	secret := filepath.Join(dir, "secret.csv")
	part, err := filepath.Glob(filepath.Join(dir, "store", "data", "technicians", "*.parquet"))
	if err != nil || len(part) == 0 {
		t.Fatalf("%v, %v", part, err)
	}
	before := treeOf(t, dir)
	for _, query := range []string{
		"SELECT * FROM read_csv('" + secret + "')", "SELECT * FROM read_csv_auto('" + secret + "')", "SELECT * FROM '" + secret + "'", "SELECT * FROM read_text('" + secret + "')",
		"SELECT * FROM read_blob('" + secret + "')", "SELECT * FROM sniff_csv('" + secret + "')", "SELECT * FROM read_json('" + secret + "')", "SELECT * FROM read_parquet('" + secret + "')",
		"SELECT * FROM read_parquet('" + dir + "/*')", "SELECT * FROM parquet_metadata('" + secret + "')", "SELECT * FROM parquet_schema('" + secret + "')", "SELECT * FROM glob('" + dir + "/*')",
		"SELECT * FROM read_text('/etc/hostname')", "SELECT * FROM read_text('/proc/self/environ')", "SELECT * FROM read_csv('../secret.csv')", "SELECT * FROM read_csv('http://127.0.0.1:1/x.csv')",
		"SELECT * FROM 'https://127.0.0.1:1/x.parquet'", "SELECT * FROM read_parquet('s3://a/b.parquet')", "SELECT * FROM query('SELECT * FROM read_text(''" + secret + "'')')",
		"SELECT * FROM query_table('" + secret + "')", "SELECT getenv('HOME')", "SELECT * FROM sqlite_scan('" + secret + "', 'a')", "SELECT load_extension('x')",
		"COPY technicians TO '" + dir + "/out.csv'", "COPY (SELECT 1) TO '" + part[0] + "' (FORMAT parquet)", "COPY technicians FROM '" + secret + "'", "EXPORT DATABASE '" + dir + "/db'", "IMPORT DATABASE '" + dir + "'",
		"ATTACH '" + dir + "/x.db'", "ATTACH '" + secret + "' AS s (READ_ONLY)", "DETACH memory", "USE memory", "INSTALL httpfs", "LOAD httpfs", "FORCE INSTALL json", "INSTALL x FROM community",
		"SET enable_external_access = true", "SET lock_configuration = false", "SET memory_limit = '100GB'", "RESET memory_limit", "PRAGMA memory_limit = '100GB'", "PRAGMA enable_profiling", "SET temp_directory = '" + dir + "'",
		"CREATE TABLE x AS SELECT 1", "CREATE TEMP TABLE x AS SELECT 1", "CREATE VIEW x AS SELECT 1", "CREATE MACRO m() AS 1", "CREATE SECRET s (TYPE s3)", "CREATE OR REPLACE VIEW technicians AS SELECT 1",
		"INSERT INTO technicians VALUES (1)", "UPDATE files SET name = 'x'", "DELETE FROM not_held", "TRUNCATE not_held", "DROP VIEW technicians", "ALTER TABLE not_held ADD COLUMN x INTEGER",
		"SELECT 1; DROP VIEW technicians", "SELECT 1; SELECT 2", "DROP VIEW technicians; SELECT 1", "SELECT 1 /* ; */; COPY technicians TO '" + dir + "/x'",
		"EXPLAIN ANALYZE CREATE TABLE x AS SELECT 1", "PREPARE p AS SELECT 1", "EXECUTE p", "BEGIN", "CHECKPOINT", "VACUUM", "CALL pragma_version()", "SELECT * FROM enable_logging()", "SELECT * FROM enable_logging(storage := 'file', storage_path := '" + dir + "/log')", "SELECT * FROM (SELECT 1 WHERE EXISTS (FROM enable_logging()))",
		"SELECT * FROM enable_profiling()", "SELECT * FROM duckdb_secrets()", "SELECT * FROM duckdb_settings()", "PRAGMA database_list", "SELECT * FROM pragma_database_size()", "FROM checkpoint()", "WITH d AS (DELETE FROM not_held RETURNING *) SELECT * FROM d",
		"", ";", "-- nothing", "SELECT", "SELECT * FROM nothing", "SELECT 1 FROM technicians WHERE", "\x00", "SELECT '\xff'",
	} {
		if got, err := answer(context.Background(), e, query); err == nil {
			t.Errorf("%s was answered: %q", query, got)
		} else if !errors.Is(err, ask.ErrQuestion) {
			t.Errorf("%s: %v is no fault of the question", query, err)
		}
	}
	after := treeOf(t, dir)
	if len(before) != len(after) {
		t.Errorf("%d files before, %d after", len(before), len(after))
	}
	for path, content := range before {
		if after[path] != content {
			t.Errorf("%s was changed", path)
		}
	}
	if got, err := answer(context.Background(), e, "SELECT count(*) FROM technicians"); err != nil || got != "2" {
		t.Errorf("afterwards: %s, %v", got, err)
	}
}

func treeOf(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		raw, err := os.ReadFile(path)
		out[path] = string(raw)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestEndlessQuestions end with their time, and what needs more memory than there is ends with an error; the next
// question is answered.
func TestEndlessQuestions(t *testing.T) {
	e, _ := asked(t)
	for _, query := range []string{
		"WITH RECURSIVE x(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM x) SELECT max(i) FROM x",
		"SELECT count(*) FROM range(1000000000000) a, range(1000000) b",
		"SELECT max(list_sum(range(i))) FROM range(100000000) r(i)",
	} {
		ctx, cancel := context.WithTimeout(context.Background(), 500*time.Millisecond)
		began := time.Now()
		if _, err := answer(ctx, e, query); !errors.Is(err, context.DeadlineExceeded) && !errors.Is(err, ask.ErrQuestion) {
			t.Errorf("%s: %v", query, err)
		}
		if took := time.Since(began); took > 20*time.Second {
			t.Errorf("%s took %s", query, took)
		}
		cancel()
	}
	if _, err := answer(context.Background(), e, "SELECT string_agg(repeat('x', 1000000), '') FROM range(100000)"); err == nil {
		t.Error("100 GB of text were answered in 256 MiB")
	}
	if got, err := answer(context.Background(), e, "SELECT 1"); err != nil || got != "1" {
		t.Errorf("afterwards: %s, %v", got, err)
	}
}
