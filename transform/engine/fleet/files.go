package fleet

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"scanledger/transform/engine"
)

// part is the column that a saved table is partitioned by. Its values are the folders of the files.
const part = "saved_as"

// partition is what was saved under a path.
type partition struct {
	table string
	value string
}

// location is how the fleet names a path below the shared folder.
func (f *Fleet) location(path string) (string, error) {
	inside, err := filepath.Rel(f.opt.Folder, path)
	if err != nil || inside == ".." || strings.HasPrefix(inside, "../") {
		return "", fmt.Errorf("the fleet does not see %s; only what lies below %s", path, f.opt.Folder)
	}
	return strings.TrimSuffix(f.opt.Location, "/") + strings.TrimSuffix("/"+filepath.ToSlash(inside), "/."), nil
}

// spot is where rows are saved: a partition of a table over a folder.
type spot struct {
	table, name, folder string
}

// spotOf tells what a path stands for: DIR/TABLE/MONTH.parquet is a month of a table, DIR/TABLE.parquet a whole one.
func spotOf(path string) spot {
	folder, name := filepath.Dir(path), strings.TrimSuffix(filepath.Base(path), ".parquet")
	if _, err := time.Parse("2006-01", name); err != nil && name != "none" {
		folder, name = filepath.Join(folder, name), "all"
	}
	return spot{"saved_" + filepath.Base(folder), name, folder}
}

// tries is how often a statement is run whose machine was lost.
const tries = 3

// pause is how long a fleet has to see that a machine of it is gone, or back. (House's choice.)
const pause = 5 * time.Second

// Save writes the rows of a SELECT to files of the fleet's in a folder beside path. They count once all are there: a partition
// is told of last, and one that failed has a folder that no other will have.
func (f *Fleet) Save(ctx context.Context, query, path string) error {
	return f.save(ctx, Translate(query), path, spotOf(path))
}

func (f *Fleet) save(ctx context.Context, translated, path string, at spot) error {
	columns, err := f.table(ctx, at.table, at.folder, translated)
	if err != nil {
		return fmt.Errorf("save %s: %w", path, err)
	}
	var list []string
	for _, c := range columns {
		list = append(list, c.toTable())
	}
	for try := 1; ; try++ {
		f.saves++
		value := fmt.Sprintf("%s-%d", at.name, f.saves)
		err := f.exec(ctx, "INSERT INTO "+engine.Name(at.table)+" SELECT "+strings.Join(list, ", ")+", "+engine.Quote(value)+" FROM (\n"+translated+"\n)")
		if err == nil {
			f.saved[path] = partition{at.table, value}
			return nil
		}
		if try == tries || !errors.Is(err, ErrLost) {
			return fmt.Errorf("save %s: %w", path, err)
		}
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-time.After(pause):
		}
	}
}

// table makes the table that the rows of a query are saved in, once.
func (f *Fleet) table(ctx context.Context, table, folder, translated string) ([]column, error) {
	if columns, known := f.tables[table]; known {
		return columns, nil
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return nil, err
	}
	columns, err := f.columnsOf(ctx, "columns_of_"+table, translated)
	if err != nil {
		return nil, err
	}
	where, err := f.location(folder)
	if err != nil {
		return nil, err
	}
	err = f.exec(ctx, "CREATE TABLE "+engine.Name(table)+" ("+declared(columns)+", "+part+" VARCHAR) WITH (format = 'PARQUET', external_location = "+
		engine.Quote(where)+", partitioned_by = ARRAY['"+part+"'])")
	if err == nil {
		f.tables[table] = columns
	}
	return columns, err
}

// columnsOf asks the fleet for the columns of a query.
func (f *Fleet) columnsOf(ctx context.Context, view, translated string) (columns []column, err error) {
	if err := f.define(ctx, view, translated); err != nil {
		return nil, err
	}
	rows, err := f.db.QueryContext(ctx, "SELECT column_name, data_type FROM information_schema.columns WHERE table_schema = "+engine.Quote(f.opt.Name)+
		" AND table_name = "+engine.Quote(view)+" ORDER BY ordinal_position")
	if err != nil {
		return nil, f.failed(ctx, translated, err)
	}
	defer func() { err = errors.Join(err, f.hide(rows.Close())) }()
	for rows.Next() {
		var c column
		if err := rows.Scan(&c.name, &c.kind); err != nil {
			return nil, f.failed(ctx, translated, err)
		}
		c.zoned = strings.HasSuffix(c.kind, "with time zone")
		if c.zoned {
			c.kind = "timestamp(6)"
		}
		columns = append(columns, c)
	}
	if err := rows.Err(); err != nil {
		return nil, f.failed(ctx, translated, err)
	}
	return columns, nil
}

func declared(columns []column) string {
	out := make([]string, len(columns))
	for i, c := range columns {
		out[i] = engine.Name(c.name) + " " + c.kind
	}
	return strings.Join(out, ", ")
}

// toTable is the column as a table takes it.
func (c column) toTable() string {
	if c.zoned {
		return "CAST(at_timezone(" + engine.Name(c.name) + ", 'UTC') AS timestamp(6))"
	}
	return engine.Name(c.name)
}

// fromTable is the column as queries have it.
func (c column) fromTable() string {
	if c.zoned {
		return "with_timezone(" + engine.Name(c.name) + ", 'UTC') AS " + engine.Name(c.name)
	}
	return engine.Name(c.name)
}

// View gives the rows of files a name, of those saved here or of others.
func (f *Fleet) View(ctx context.Context, name string, files []string, empty string) error {
	if len(files) == 0 {
		return f.Define(ctx, name, empty)
	}
	if _, ours := f.saved[files[0]]; !ours {
		return f.others(ctx, name, files)
	}
	var values []string
	for _, path := range files {
		values = append(values, engine.Quote(f.saved[path].value))
	}
	table := f.saved[files[0]].table
	return f.define(ctx, name, selected(f.tables[table])+" FROM "+engine.Name(table)+" WHERE "+part+" IN ("+strings.Join(values, ", ")+")")
}

func selected(columns []column) string {
	var list []string
	for _, c := range columns {
		list = append(list, c.fromTable())
	}
	return "SELECT " + strings.Join(list, ", ")
}

// others puts a table over the folder that files of others lie in, and a view over these files alone: what else lies there,
// such as parts that no manifest lists, is no rows.
func (f *Fleet) others(ctx context.Context, name string, files []string) error {
	table, folder := "files_of_"+name, common(files)
	if _, known := f.read[table]; !known {
		columns, err := f.local(ctx, files[0])
		if err != nil {
			return err
		}
		where, err := f.location(folder)
		if err != nil {
			return err
		}
		err = f.exec(ctx, "CREATE TABLE "+engine.Name(table)+" ("+declared(columns)+") WITH (format = 'PARQUET', external_location = "+engine.Quote(where)+")")
		if err != nil {
			return err
		}
		f.read[table] = columns
	}
	var paths []string
	for _, path := range files {
		where, err := f.location(path)
		if err != nil {
			return err
		}
		paths = append(paths, engine.Quote(where))
	}
	return f.define(ctx, name, selected(f.read[table])+" FROM "+engine.Name(table)+` WHERE "$path" IN (`+strings.Join(paths, ", ")+")")
}

// common is the folder that all files lie in or below.
func common(files []string) string {
	folder := filepath.Dir(files[0])
	for _, path := range files {
		for !strings.HasPrefix(path, folder+string(filepath.Separator)) {
			folder = filepath.Dir(folder)
		}
	}
	return folder
}

// kinds of columns, by the name that the embedded engine has for them.
var kinds = map[string]string{"VARCHAR": "varchar", "INTEGER": "integer", "BIGINT": "bigint", "DOUBLE": "double", "BOOLEAN": "boolean", "DATE": "date",
	"VARCHAR[]": "array(varchar)", "DOUBLE[]": "array(double)"}

// local tells the columns of a Parquet file.
func (f *Fleet) local(ctx context.Context, path string) (columns []column, err error) {
	query := "SELECT column_name, column_type FROM (DESCRIBE SELECT * FROM read_parquet(" + engine.Quote(path) + ", hive_partitioning = false))"
	err = f.opt.Local.Each(ctx, query, nil, func(scan func(...any) error) error {
		var name, kind string
		if err := scan(&name, &kind); err != nil {
			return err
		}
		c := column{name: name, kind: kinds[kind], zoned: kind == "TIMESTAMP WITH TIME ZONE"}
		switch {
		case c.zoned:
			c.kind = "timestamp(6)"
		case strings.HasPrefix(kind, "DECIMAL"):
			c.kind = strings.ToLower(kind)
		case c.kind == "":
			return fmt.Errorf("%s: the fleet cannot read column %s of type %s", path, name, kind)
		}
		columns = append(columns, c)
		return nil
	})
	return columns, err
}

// Keep saves the rows of a SELECT beside the schema, those of each query in a table of its own: under one name rows of other
// columns may be kept later.
func (f *Fleet) Keep(ctx context.Context, name, query string, args ...any) error {
	bound, err := bind(query, args)
	if err != nil {
		return err
	}
	translated := Translate(bound)
	of := name + " " + translated
	table, known := f.kept[of]
	if !known {
		table = fmt.Sprintf("kept_%s_%d", name, len(f.kept)+1)
		f.kept[of] = table
	}
	folder := filepath.Join(f.own(), table)
	if err := f.save(ctx, translated, folder, spot{table, "rows", folder}); err != nil {
		return err
	}
	return f.View(ctx, name, []string{folder}, "")
}
