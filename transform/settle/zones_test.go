package settle

import (
	"testing"
	"time"
)

// TestInstant checks wall clocks around the changes of summer time. The dates follow from the IANA time
// zone database that Go ships: Sydney's clocks went back at 03:00 on 5 April 2026 and forward at 02:00 on
// 4 October 2026; New York's forward at 02:00 on 8 March 2026. Darwin and Lord Howe cover a zone without
// summer time and one whose change is half an hour.
func TestInstant(t *testing.T) {
	for _, c := range []struct {
		zone, wall, want string // want "" where no such time exists
	}{
		{"Australia/Sydney", "2026-01-15T09:00:00", "2026-01-14T22:00:00Z"},
		{"Australia/Sydney", "2026-07-15T09:00:00", "2026-07-14T23:00:00Z"},
		{"Australia/Sydney", "2026-10-04T02:30:00", ""},                     // went forward over it
		{"Australia/Sydney", "2026-04-05T02:30:00", "2026-04-04T15:30:00Z"}, // twice: the first, still summer time
		{"Australia/Sydney", "2026-04-05T03:00:00", "2026-04-04T17:00:00Z"},
		{"America/New_York", "2026-03-08T02:30:00", ""},
		{"America/New_York", "2024-02-29T23:59:59", "2024-03-01T04:59:59Z"}, // leap day, next month in UTC
		{"Australia/Darwin", "2026-10-04T02:30:00", "2026-10-03T17:00:00Z"},
		{"Australia/Lord_Howe", "2026-10-04T02:15:00", ""},
		{"Australia/Lord_Howe", "2026-10-04T02:30:00", "2026-10-03T15:30:00Z"},
	} {
		loc, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		wall, err := time.Parse("2006-01-02T15:04:05", c.wall)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		if micros, ok := instant(wall.UnixMicro(), loc); ok {
			got = time.UnixMicro(micros).UTC().Format(time.RFC3339)
		}
		if got != c.want {
			t.Errorf("%s in %s: got %q, want %q", c.wall, c.zone, got, c.want)
		}
	}
}
