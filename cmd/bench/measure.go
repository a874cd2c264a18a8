package bench

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"syscall"
	"time"
)

// Run is one run of a command.
type Run struct {
	Seconds float64 `json:"seconds"`
	PeakMiB float64 `json:"peak_mib"`
}

// child runs a command as a process of its own, so that its peak memory is its own. Exit code 3, rejected rows, is none of
// a fault.
func child(ctx context.Context, command ...string) (Run, error) {
	c := exec.CommandContext(ctx, command[0], command[1:]...) //nolint:gosec // this program, and the comparison that was asked for
	began := time.Now()
	out, err := c.CombinedOutput()
	seconds := time.Since(began).Seconds()
	var exit *exec.ExitError
	if errors.As(err, &exit) && exit.ExitCode() == 3 {
		err = nil
	}
	if err != nil {
		return Run{}, fmt.Errorf("run %.3q: %w: %.500s", command, err, out)
	}
	used, ok := c.ProcessState.SysUsage().(*syscall.Rusage)
	if !ok {
		return Run{Seconds: seconds}, nil
	}
	return Run{seconds, float64(used.Maxrss) / 1024}, nil // Linux counts kB
}

// Compared is a stage beside its floor.
type Compared struct {
	Stage    string  `json:"stage"`
	Floor    string  `json:"floor"` // what the floor is
	Rows     int     `json:"rows"`
	Work     []Run   `json:"work"`
	Least    []Run   `json:"least"`
	Seconds  float64 `json:"seconds"` // median of the work
	Ratio    float64 `json:"ratio"`   // of the medians
	Lowest   float64 `json:"lowest"`
	Highest  float64 `json:"highest"` // of the ratios of runs that followed one another
	PeakMiB  float64 `json:"peak_mib"`
	FloorMiB float64 `json:"floor_mib"`
	BytesIn  int64   `json:"bytes_in"`
	BytesOut int64   `json:"bytes_out"`
}

// compare runs work and floor in alternation, each after its preparation, which is not measured.
func compare(ctx context.Context, c Compared, runs int, work, floor func() (Run, error)) (Compared, error) {
	for range runs {
		w, err := work()
		if err != nil {
			return c, err
		}
		f, err := floor()
		if err != nil {
			return c, err
		}
		c.Work, c.Least = append(c.Work, w), append(c.Least, f)
		ratio := w.Seconds / f.Seconds
		if c.Lowest == 0 || ratio < c.Lowest {
			c.Lowest = ratio
		}
		c.Highest = max(c.Highest, ratio)
		c.PeakMiB, c.FloorMiB = max(c.PeakMiB, w.PeakMiB), max(c.FloorMiB, f.PeakMiB)
		if err := ctx.Err(); err != nil {
			return c, err
		}
	}
	c.Seconds, c.Ratio = median(c.Work), median(c.Work)/median(c.Least)
	return c, nil
}

// Growth is how the time of a stage grows with the rows.
type Growth struct {
	Stage             string  `json:"stage"`
	Rows              int     `json:"rows"`
	SecondsPerMillion float64 `json:"seconds_per_million"` // median
	Growth            float64 `json:"growth"`              // time over that of the size before, over the same of rows: 1 is linear; 0 for the first size
}

// Growths puts the sizes of each stage beside one another, in the order in which they were measured.
func Growths(all []Compared) (out []Growth) {
	for i, c := range all {
		g := Growth{Stage: c.Stage, Rows: c.Rows, SecondsPerMillion: median(c.Work) / float64(c.Rows) * 1e6}
		for _, before := range all[:i] {
			if before.Stage == c.Stage {
				g.Growth = median(c.Work) / median(before.Work) * float64(before.Rows) / float64(c.Rows)
			}
		}
		out = append(out, g)
	}
	return out
}

func median(runs []Run) float64 {
	seconds := make([]float64, len(runs))
	for i, r := range runs {
		seconds[i] = r.Seconds
	}
	slices.Sort(seconds)
	n := len(seconds)
	return (seconds[(n-1)/2] + seconds[n/2]) / 2
}

// weight is how many bytes the files have together; folders count with all in them.
func weight(paths ...string) (bytes int64, err error) {
	for _, path := range paths {
		info, err := os.Stat(path)
		if err != nil {
			return 0, err
		}
		if !info.IsDir() {
			bytes += info.Size()
			continue
		}
		entries, err := os.ReadDir(path)
		if err != nil {
			return 0, err
		}
		var inside []string
		for _, e := range entries {
			inside = append(inside, path+string(os.PathSeparator)+e.Name())
		}
		n, err := weight(inside...)
		if err != nil {
			return 0, err
		}
		bytes += n
	}
	return bytes, nil
}
