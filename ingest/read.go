package ingest

import (
	"context"
	"fmt"
	"os"
	"runtime"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"
)

// Summary tells what Read saw of a file.
type Summary struct {
	Rows, Rejected int64    // rows read, and how many of them broke a rule
	ExtraColumns   []string // columns of the file that the record set does not have, in order of appearance
	Bytes          int64    // size of the file as it lies on disk
}

// maxExtraColumns bounds how many unknown names a JSON Lines file can make Read remember.
const maxExtraColumns = 1000

// Read hands the rows of a file to sink in file order. It cuts the file into stretches, judges
// them in parallel and delivers them one at a time, holding a fixed number of stretches whatever
// the size of the file. A Batch is never nil but may be empty; once sink returns, its memory is used
// for other rows.
//
// A row that breaks a rule is a Reject and reading goes on. Trouble with the file as a whole is a
// *FileError; chunks handed over before it must then be dropped. An error of sink or of ctx ends
// the reading and is returned as it is.
func Read(ctx context.Context, src Source, sink func(Chunk) error) (Summary, error) {
	var sum Summary
	if err := ctx.Err(); err != nil {
		return sum, err
	}
	file, size, err := openRegular(src.Path)
	if err != nil {
		return sum, err
	}
	defer func() { _ = file.Close() }() // nothing was written
	sum.Bytes = size
	src.spare = new(sync.Pool)
	err = readFormat(ctx, src, file, size, sum.deliver(src, sink))
	return sum, err
}

// deliver counts what it is given and hands it to sink.
func (s *Summary) deliver(src Source, sink func(Chunk) error) func(parsed) error {
	return func(p parsed) error {
		s.add(p)
		if p.Rows == 0 {
			return nil
		}
		err := sink(p.Chunk)
		src.spare.Put(p.Batch)
		return err
	}
}

func readFormat(ctx context.Context, src Source, file *os.File, size int64, deliver func(parsed) error) error {
	switch src.Format {
	case CSV:
		return readCSV(ctx, src, wanted{ctx, file}, size, deliver)
	case JSONL:
		return readJSONL(ctx, src, wanted{ctx, file}, size, deliver)
	case XLSX:
		return readXLSX(ctx, src, file, size, deliver)
	case Parquet:
		return readParquet(ctx, src, file, size, deliver)
	default:
		return src.fileError("open", fmt.Errorf("format %d is unknown", src.Format), "use Identify")
	}
}

// parsed is a chunk with the unknown column names met in it.
type parsed struct {
	Chunk
	extra []string
}

func (s *Summary) add(p parsed) {
	s.Rows += p.Rows
	s.Rejected += p.Rows - int64(len(p.Batch.Lines))
	for _, name := range p.extra {
		if len(s.ExtraColumns) < maxExtraColumns && !slices.Contains(s.ExtraColumns, name) {
			s.ExtraColumns = append(s.ExtraColumns, name)
		}
	}
}

// inOrder runs produce in one goroutine, parses the blocks it emits in as many as there are
// processors, and delivers the results one by one in the order of the blocks. newParser is called
// once for each parsing goroutine. At most a few blocks a processor are held at a time. The first
// error ends everything.
func inOrder[B any](ctx context.Context, produce func(emit func(B) error) error,
	newParser func() func(B) parsed, deliver func(parsed) error,
) error {
	type job struct {
		block  B
		result chan parsed
	}
	group, ctx := errgroup.WithContext(ctx)
	workers := runtime.GOMAXPROCS(0)
	jobs := make(chan job)
	results := make(chan chan parsed, 2*workers)

	group.Go(func() error {
		defer close(jobs)
		defer close(results)
		return produce(func(block B) error {
			j := job{block, make(chan parsed, 1)}
			if err := send(ctx, results, j.result); err != nil {
				return err
			}
			return send(ctx, jobs, j)
		})
	})
	for range workers {
		group.Go(func() error {
			parse := newParser()
			for j := range jobs {
				j.result <- parse(j.block)
			}
			return nil
		})
	}
	group.Go(func() error {
		for result := range results {
			select {
			case p := <-result:
				if err := deliver(p); err != nil {
					return err
				}
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	return group.Wait()
}

func send[T any](ctx context.Context, to chan<- T, v T) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case to <- v:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// guard runs code of a format library and turns a panic over damaged content into a FileError.
func (s Source) guard(run func() error) (err error) {
	defer func() {
		if cause := recover(); cause != nil {
			err = s.fileError("read", fmt.Errorf("the file is damaged: %v", cause), "export it again")
		}
	}()
	return run()
}
