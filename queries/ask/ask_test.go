package ask_test

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/queries"
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
		"SELECT technician_id, name FROM technicians ORDER BY 1":                                 "T1|=One\nT2|Two",
		"FROM technicians SELECT count(*)":                                                       "2",
		"SELECT t.name, f.name, _line FROM technicians t JOIN files f ON number = _file LIMIT 1": "=One|technicians.csv|2",
		"WITH x AS (SELECT 1.5 AS a) SELECT a, NULL, true, 'x' FROM x":                           "1.5||true|x",
		"SELECT count(*) FROM (SELECT i FROM range(3000000) r(i) ORDER BY hash(i))":              "3000000",
		"SELECT column_name FROM (DESCRIBE technicians) LIMIT 1":                                 "technician_id",
		"SELECT count(*) > 5 FROM (SHOW ALL TABLES)":                                             "true",
		"SELECT count FROM (SUMMARIZE technicians) LIMIT 1":                                      "2",
		"VALUES (1), (2)":           "1\n2",
		"SELECT 'a;b' -- ; comment": "a;b",
		"SELECT 1;":                 "1",
		"WITH RECURSIVE x(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM x WHERE i < 4) SELECT sum(i) FROM x":                                             "10",
		"SELECT i, sum(i) OVER (ORDER BY i) FROM generate_series(1, 2) t(i) QUALIFY row_number() OVER (ORDER BY i) = 2":                                "2|3",
		"SELECT list_transform([1, 2], lambda x: x + 1), [x * 2 FOR x IN [1, 2]], COLUMNS(*) FROM (SELECT 7 AS a)":                                     "[2, 3]|[2, 4]|7",
		"SELECT * EXCLUDE (name) REPLACE (lower(technician_id) AS technician_id) FROM (SELECT technician_id, name FROM technicians) USING SAMPLE 100%": "t1\nt2",
		"SELECT * FROM (PIVOT technicians ON name IN ('Two') USING count(*) GROUP BY technician_id) ORDER BY 1":                                        "T1|0\nT2|1",
		"SELECT u.x FROM technicians t, LATERAL (SELECT t.technician_id AS x) u, unnest([1]) ORDER BY 1":                                               "T1\nT2",
	} {
		if got, err := answer(context.Background(), e, query); err != nil || got != want {
			t.Errorf("%s: %q, %v; want %q", query, got, err, want)
		}
	}
}

// TestCells: every type is written one way, and what has no kind of its own in JSON is text there.
func TestCells(t *testing.T) {
	e, _ := asked(t)
	for query, want := range map[string]string{
		"DATE '2026-03-01'":                    `2026-03-01 "2026-03-01"`,
		"TIMESTAMPTZ '2026-03-01 10:00:00+10'": `2026-03-01T00:00:00Z "2026-03-01T00:00:00Z"`,
		"TIMESTAMP '2026-03-01 10:00:00.5'":    `2026-03-01T10:00:00.5Z "2026-03-01T10:00:00.5Z"`,
		"TIME '10:00:00'":                      `10:00:00 "10:00:00"`, "INTERVAL '1 month 2 days 1.5 seconds'": `P1M2DT1.5S "P1M2DT1.5S"`,
		"CAST(170141183460469231731687303715884105727 AS HUGEINT)": "170141183460469231731687303715884105727 170141183460469231731687303715884105727",
		"123456789012345678.125::DECIMAL(38,3)":                    "123456789012345678.125 123456789012345678.125", "-0.5::DECIMAL(6,2)": "-0.5 -0.5",
		"0.1::FLOAT": "0.1 0.1", "100000000::DOUBLE": "100000000 100000000", "1e21::DOUBLE": "1e+21 1e+21", "1e-7::DOUBLE": "1e-07 1e-07", "0::DOUBLE": "0 0",
		"'nan'::DOUBLE": "NaN null", "'-inf'::DOUBLE": "-Inf null", "NULL": " null", "''": ` ""`, "true": "true true", "7::UTINYINT": "7 7",
		"'00000000-0000-0000-0000-000000000001'::UUID": `00000000-0000-0000-0000-000000000001 "00000000-0000-0000-0000-000000000001"`,
		"'\\xFF'::BLOB": `ff "ff"`, "'a'::BLOB": `a "a"`,
		"[1, NULL]": "[1, NULL] [1,null]", "[DATE '2026-03-01']": `[2026-03-01] ["2026-03-01"]`,
		"{'b': 'x', 'a': [1.5::DOUBLE]}": `{a: [1.5], b: x} {"a":[1.5],"b":"x"}`,
	} {
		var got string
		err := ask.Rows(context.Background(), e, "SELECT "+query, func([]string) error { return nil }, func(cells []ask.Cell) error {
			raw, err := json.Marshal(cells[0].JSON)
			got = cells[0].Text + " " + string(raw)
			return err
		})
		if err != nil || got != want {
			t.Errorf("%s: %s, %v; want %s", query, got, err, want)
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
		"EXPLAIN ANALYZE CREATE TABLE x AS SELECT 1", "PREPARE p AS SELECT 1", "EXECUTE p", "BEGIN", "CHECKPOINT", "VACUUM", "CALL pragma_version()", "WITH d AS (DELETE FROM not_held RETURNING *) SELECT * FROM d",
		// These are SELECTs that would switch on logs or profiles, run text as a statement, or tell of files.
		"SELECT * FROM enable_logging()", "SELECT * FROM Enable_Logging(level := 'debug', storage := 'stdout')", "SELECT * FROM system.main.enable_logging('QueryLog', storage := 'file', storage_config := {'path': '" + part[0] + "'})",
		"SELECT * FROM \"enable_logging\"('QueryLog', storage_path := '" + dir + "/logs')", "SELECT 1 WHERE EXISTS (SELECT * FROM enable_logging())", "WITH x AS (FROM enable_logging()) SELECT 1 FROM technicians, x",
		"SELECT (SELECT count(*) FROM enable_logging())", "DESCRIBE SELECT * FROM enable_logging()", "SUMMARIZE SELECT * FROM disable_logging()", "SELECT 1 UNION ALL (SELECT 1 FROM truncate_duckdb_logs())",
		"SELECT * FROM enable_profiling(format := 'json', save_location := '" + dir + "/p.json')", "SELECT * FROM disable_profiling()", "SELECT * FROM enable_peg_parser()", "SELECT * FROM checkpoint()", "SELECT * FROM force_checkpoint()",
		"SELECT * FROM query('SELECT 1')", "SELECT * FROM query('SELECT * FROM enable_logging()')", "SELECT * FROM json_execute_serialized_sql(json_serialize_sql('SELECT 1'))", "SELECT * FROM query_table(['technicians'])",
		"SELECT * FROM enable_profiling()", "PRAGMA database_list", "SELECT * FROM pragma_database_size()", "FROM checkpoint()", "SELECT * FROM (SELECT 1 WHERE EXISTS (FROM enable_logging()))",
		"SELECT * FROM duckdb_secrets()", "SELECT * FROM which_secret('s3://x', 's3')", "SELECT * FROM duckdb_extensions()", "SELECT * FROM duckdb_logs()", "SELECT * FROM duckdb_settings()", "SELECT * FROM read_duckdb('" + dir + "/x.db')",
		"SELECT * FROM arrow_scan(1, 2, 3)", "SELECT * FROM technicians JOIN LATERAL (SELECT * FROM glob(name)) ON true", "SELECT * FROM read_parquet('" + part[0] + "')", "SELECT * FROM read_blob('" + part[0] + "')",
		"SELECT * FROM read_text('" + part[0] + "/../../../../secret.csv')", "SELECT * FROM 'file://" + secret + "'", "SELECT * FROM read_text(['" + part[0] + "', '" + secret + "'])", "FROM '" + dir + "/*.csv'", "SELECT * FROM '/dev/stdin'",
		"PIVOT technicians ON name USING count(*)", "EXPLAIN SELECT 1", "EXPLAIN ANALYZE SELECT 1", "SELECT * FROM technicians WHERE name = $1", "SELECT set_config('memory_limit', '1GB')", "SELECT getvariable('a'); SET VARIABLE a = 1",
		"WITH x AS (INSERT INTO not_held VALUES ('a', 1, 1) RETURNING *) SELECT * FROM x", "WITH x AS (COPY technicians TO '" + dir + "/y') SELECT 1", "SELECT 1 INTO OUTFILE '" + dir + "/z'", "MERGE INTO not_held USING technicians ON true WHEN MATCHED THEN DELETE",
		"SELECT " + strings.Repeat("(", 20000) + "1" + strings.Repeat(")", 20000), "SELECT " + strings.Repeat("[", 5000) + strings.Repeat("]", 5000), "SELECT " + strings.Repeat("1 + ", 100000) + "1",
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

// TestNoQuestionReachesTheNetwork asks a server that listens, in every way there is to name one; nobody calls.
func TestNoQuestionReachesTheNetwork(t *testing.T) {
	e, _ := asked(t)
	var called atomic.Int32
	server := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { called.Add(1) }))
	defer server.Close()
	host := strings.TrimPrefix(server.URL, "http://")
	for _, query := range []string{
		"SELECT * FROM read_csv('%s/x.csv')", "SELECT * FROM read_parquet('%s/x.parquet')", "SELECT * FROM read_text('%s/x')", "SELECT * FROM read_json('%s/x.json')", "FROM '%s/x.csv'", "SELECT * FROM glob('%s/*')",
		"ATTACH '%s/x.db'", "INSTALL httpfs FROM '%s'", "LOAD '%s/x.duckdb_extension'", "COPY technicians TO '%s/x.csv'", "SET custom_extension_repository = '%s'", "SET http_proxy = '%s'",
		"SELECT * FROM iceberg_scan('%s')", "SELECT * FROM delta_scan('%s')", "SELECT http_get('%s')", "SELECT * FROM postgres_scan('host=" + host + "', 'a', 'b')", "SELECT * FROM mysql_query('%s', 'SELECT 1')",
	} {
		if got, err := answer(context.Background(), e, strings.ReplaceAll(query, "%s", server.URL)); err == nil {
			t.Errorf("%s was answered: %q", query, got)
		}
	}
	if n := called.Load(); n > 0 {
		t.Errorf("the server was called %d times", n)
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

// TestEndlessQuestions end with their time, whether the engine listens or not, and what needs more memory than there is
// ends with an error.
func TestEndlessQuestions(t *testing.T) {
	for query, want := range map[string]error{
		"WITH RECURSIVE x(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM x) SELECT max(i) FROM x": context.DeadlineExceeded,
		"SELECT count(*) FROM range(1000000000000) a, range(1000000) b":                        context.DeadlineExceeded,
		"SELECT sum(i) FROM generate_series(1, 1000000000000) t(i)":                            context.DeadlineExceeded,
		"SELECT levenshtein(repeat('ab', 40000), repeat('ba', 40000))":                         context.DeadlineExceeded, // does not listen
		"SELECT string_agg(repeat('x', 1000000), '') FROM range(100000)":                       engine.ErrMemory,
		"SELECT len(list_transform(range(100000000), lambda x: x + 1))":                        engine.ErrMemory, // the engine does not count it
	} {
		e, _ := asked(t)
		limit := time.Minute
		if errors.Is(want, context.DeadlineExceeded) {
			limit = 300 * time.Millisecond
		}
		ctx, cancel := context.WithTimeout(context.Background(), limit)
		began := time.Now()
		if _, err := answer(ctx, e, query); !errors.Is(err, want) {
			t.Errorf("%s: %v; want %v", query, err, want)
		}
		if took := time.Since(began); limit < time.Second && took > 3*time.Second {
			t.Errorf("%s took %s", query, took)
		}
		cancel()
	}
}

// TestSameAnswer: without an ORDER BY too, the same question has the same answer, to the last digit of a sum.
func TestSameAnswer(t *testing.T) {
	ctx, path := context.Background(), filepath.Join(t.TempDir(), "t.parquet")
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(e.Save(ctx, "SELECT hash(i) % 5000 AS g, i * 0.1::DOUBLE AS x FROM range(1000000) r(i)", path), e.Close()); err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for range 4 {
		e, err := engine.Open(ctx, engine.Options{Threads: ask.Threads})
		if err != nil {
			t.Fatal(err)
		}
		if err := e.View(ctx, "t", []string{path}, ""); err != nil {
			t.Fatal(err)
		}
		got, err := answer(ctx, e, "SELECT g, sum(sin(x)) FROM t GROUP BY g")
		if err := errors.Join(err, e.Close()); err != nil {
			t.Fatal(err)
		}
		seen[got]++
	}
	if len(seen) != 1 {
		t.Errorf("%d different answers", len(seen))
	}
}

// TestRecordSets: of every table that an analysis reads it is known whether its records can be found.
func TestRecordSets(t *testing.T) {
	ledger := []string{"files", "taken", "superseded", "fate_before", "rejects", "samples", "params", "log_params", "chosen", "held_materials", "held_regions", "held_units"}
	files, err := filepath.Glob("../sql/*.sql")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d queries, %v", len(files), err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".sql")
		q, err := queries.Lookup(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, table := range q.Reads {
			if len(ask.RecordSets([]string{table})) == 0 && !slices.Contains(ledger, table) {
				t.Errorf("%s reads %s, of which it is not known from which records it is made", name, table)
			}
		}
	}
	if got := ask.RecordSets([]string{"log_holds", "readings", "files"}); !slices.Equal(got, []string{"inspections", "readings", "unit_log"}) {
		t.Errorf("got %v", got)
	}
}
