package ingest

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestRFC3339(t *testing.T) {
	tests := []struct {
		section string // of RFC 3339, or why the case is taken or refused beyond it
		text    string
		want    string // in UTC to the microsecond; "local …" without an offset; "!rule" when refused
	}{
		{"5.8 example 1", "1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.52Z"},
		{"5.8 example 2", "1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"},
		{"5.8 example 3, a leap second", "1990-12-31T23:59:60Z", "!leap_second"},
		{"5.8 example 4, a leap second with offset", "1990-12-31T15:59:60-08:00", "!leap_second"},
		{"5.8 example 5, an old local time", "1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.87Z"},
		{"4.3 unknown local offset -00:00 is UTC", "2026-01-01T00:00:00-00:00", "2026-01-01T00:00:00Z"},
		{"5.6 lower case t and z", "2026-01-01t00:00:00z", "2026-01-01T00:00:00Z"},
		{"5.6 space for T", "2026-01-01 00:00:00+10:00", "2025-12-31T14:00:00Z"},
		{"5.6 secfrac of any length, cut off", "2026-01-01T00:00:00.1234569Z", "2026-01-01T00:00:00.123456Z"},
		{"5.6 secfrac needs a digit", "2026-01-01T00:00:00.Z", "!type"},
		{"5.6 a comma is no secfrac", "2026-01-01T00:00:00,5Z", "!type"},
		{"5.6 offset needs a colon", "2026-01-01T00:00:00+1000", "!type"},
		{"5.6 offset needs minutes", "2026-01-01T00:00:00+10", "!type"},
		{"5.7 offset hour at most 23", "2026-01-01T00:00:00+24:00", "!type"},
		{"5.7 offset minute at most 59", "2026-01-01T00:00:00+10:60", "!type"},
		{"5.7 quarter-hour offset", "2026-01-01T00:00:00+08:45", "2025-12-31T15:15:00Z"},
		{"5.7 hour at most 23", "2026-01-01T24:00:00Z", "!type"},
		{"5.7 minute at most 59", "2026-01-01T10:60:00Z", "!type"},
		{"5.7 second at most 60", "2026-01-01T10:00:61Z", "!type"},
		{"5.7 month at least 1", "2026-00-01T10:00:00Z", "!type"},
		{"5.7 month at most 12", "2026-13-01T10:00:00Z", "!type"},
		{"5.7 day at least 1", "2026-01-00T10:00:00Z", "!type"},
		{"5.7 April has 30 days", "2026-04-31T10:00:00Z", "!type"},
		{"5.7 no 29 February in 2026", "2026-02-29T10:00:00Z", "!type"},
		{"5.7 29 February in 2028", "2028-02-29T10:00:00Z", "2028-02-29T10:00:00Z"},
		{"appendix C, 2000 is a leap year", "2000-02-29T10:00:00Z", "2000-02-29T10:00:00Z"},
		{"appendix C, 1900 is none", "1900-02-29T10:00:00Z", "!type"},
		{"contract: no offset is local", "2026-01-01T10:00:00", "local 2026-01-01T10:00:00Z"},
		{"seconds may be left out: common practice", "2026-01-01 10:00", "local 2026-01-01T10:00:00Z"},
		{"seconds left out with offset", "2026-01-01T10:00+01:00", "2026-01-01T09:00:00Z"},
		{"year before 1900 is a mistake", "1899-12-31T10:00:00Z", "!range"},
		{"year after 2200 is a mistake", "2201-01-01T10:00:00Z", "!range"},
		{"first year", "1900-01-01T00:00:00Z", "1900-01-01T00:00:00Z"},
		{"last year", "2200-12-31T23:59:59Z", "2200-12-31T23:59:59Z"},
		{"year 0000 is allowed by 5.6 and refused", "0000-01-01T00:00:00Z", "!range"},
		{"five-digit year", "12026-01-01T00:00:00Z", "!type"},
		{"date alone", "2026-01-01", "!type"},
		{"ISO 8601 basic format", "20260101T100000Z", "!type"},
		{"ISO 8601 week date", "2026-W01-1T10:00:00Z", "!type"},
		{"zone name", "2026-01-01T10:00:00 UTC", "!type"},
		{"double Z", "2026-01-01T10:00:00ZZ", "!type"},
		{"underscore for T", "2026-01-01_10:00:00Z", "!type"},
		{"minus sign in the hour", "2026-01-01T-1:00:00Z", "!type"},
		{"clock cut short", "2026-01-01T10:00:0", "!type"},
	}
	for _, test := range tests {
		t.Run(test.section, func(t *testing.T) {
			micros, local, f := parseTimestamp([]byte(test.text))
			got := time.UnixMicro(micros).UTC().Format(time.RFC3339Nano)
			if local {
				got = "local " + got
			}
			if f != nil {
				got = "!" + f.rule
			}
			if got != test.want {
				t.Errorf("%s: got %s, want %s", test.text, got, test.want)
			}
		})
	}
}

// TestTimestampsAgainstTime compares with the standard library's parser on random text near RFC 3339.
func TestTimestampsAgainstTime(t *testing.T) {
	pattern := rapid.StringMatching(`(19|20|21)[0-9]{2}-[01][0-9]-[0-3][0-9]T[0-2][0-9]:[0-6][0-9]:[0-5][0-9](\.[0-9]{1,6})?(Z|[+-][0-2][0-9]:[0-5][0-9])`) // the library takes an offset of 60 minutes, RFC 3339 (time-minute) does not
	rapid.Check(t, func(t *rapid.T) {
		text := pattern.Draw(t, "text")
		micros, local, f := parseTimestamp([]byte(text))
		want, err := time.Parse(time.RFC3339Nano, text)
		if (err == nil) != (f == nil) {
			// The library takes offsets to 24:59, RFC 3339 (section 5.6, time-hour) to 23:59.
			if err == nil && f == notTimestamp && text[len(text)-5:len(text)-3] == "24" {
				return
			}
			t.Fatalf("%s: fault %v, library %v", text, f, err)
		}
		if err == nil && (micros != want.UnixMicro() || local) {
			t.Fatalf("%s: %d, library %d", text, micros, want.UnixMicro())
		}
	})
}

// TestMomentRoundTrip: what is written reads back as the same moment.
func TestMomentRoundTrip(t *testing.T) {
	first, last := daysFromCivil(firstYear, 1, 1), daysFromCivil(lastYear, 12, 31)
	for days := first; days <= last; days++ {
		if got, f := parseDate(appendDate(nil, days)); f != nil || got != days {
			t.Fatalf("day %d: got %d, %v", days, got, f)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		micros := rapid.Int64Range(first*day, last*day).Draw(t, "micros")
		local := rapid.Bool().Draw(t, "local")
		text := appendTimestamp(nil, micros, local)
		got, gotLocal, f := parseTimestamp(text)
		if f != nil || got != micros || gotLocal != local {
			t.Fatalf("%s: got %d %v %v", text, got, gotLocal, f)
		}
	})
}

func TestDates(t *testing.T) {
	tests := []struct{ text, rule string }{
		{"2028-02-29", ""},
		{"2100-02-29", "type"},
		{"2026-02-30", "type"},
		{"2026-1-1", "type"},
		{"01-01-2026", "type"},
		{"2026/01/01", "type"},
		{"20260101", "type"},
		{"2026-01-01T00:00:00Z", "type"},
		{"1899-12-31", "range"},
		{"9999-12-31", "range"},
	}
	for _, test := range tests {
		rule := ""
		if _, f := parseDate([]byte(test.text)); f != nil {
			rule = f.rule
		}
		if rule != test.rule {
			t.Errorf("%s: rule %q, want %q", test.text, rule, test.rule)
		}
	}
}
