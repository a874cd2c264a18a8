package ingest

import "strconv"

// Dates and timestamps are read from bytes by hand: they make up much of a file, and the general
// parser of the standard library is several times slower and takes one layout at a time.

const (
	microsecond = 1
	second      = 1_000_000 * microsecond
	minute      = 60 * second
	hour        = 60 * minute
	day         = 24 * hour
)

// The years taken. RFC 3339 allows 0000 to 9999; a year outside these is a typing mistake.
const (
	firstYear = 1900
	lastYear  = 2200
)

var (
	notDate      = &fault{"type", "is not a calendar date; write YYYY-MM-DD"}
	notTimestamp = &fault{"type", "is not a timestamp; write YYYY-MM-DDThh:mm:ss with Z or an offset such as +10:00 (RFC 3339)"}
	leapSecond   = &fault{"leap_second", "is a leap second, which cannot be kept; write second 59"}
	yearRange    = &fault{"range", "lies outside the years 1900 to 2200; correct the year"}
)

// daysFromCivil counts the days from 1970-01-01 to a date of the proleptic Gregorian calendar
// (Hinnant, 2013, "chrono-compatible low-level date algorithms").
func daysFromCivil(year, month, dayOfMonth int) int64 {
	if month <= 2 {
		year--
		month += 12
	}
	era := floorDiv(int64(year), 400)
	yearOfEra := int64(year) - era*400
	dayOfYear := int64((153*(month-3)+2)/5 + dayOfMonth - 1)
	return era*146097 + yearOfEra*365 + yearOfEra/4 - yearOfEra/100 + dayOfYear - 719468
}

// civilFromDays is the inverse of daysFromCivil.
func civilFromDays(days int64) (year, month, dayOfMonth int) {
	days += 719468
	era := floorDiv(days, 146097)
	dayOfEra := days - era*146097
	yearOfEra := (dayOfEra - dayOfEra/1460 + dayOfEra/36524 - dayOfEra/146096) / 365
	dayOfYear := dayOfEra - (365*yearOfEra + yearOfEra/4 - yearOfEra/100)
	shifted := (5*dayOfYear + 2) / 153
	dayOfMonth = int(dayOfYear - (153*shifted+2)/5 + 1)
	month = int(shifted) + 3
	year = int(yearOfEra + era*400)
	if month > 12 {
		month -= 12
		year++
	}
	return year, month, dayOfMonth
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

func daysInMonth(year, month int) int {
	switch month {
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	default:
		return 31
	}
}

// number reads a run of digits, or gives -1.
func number(digits []byte) int {
	n := 0
	for _, b := range digits {
		if b < '0' || b > '9' {
			return -1
		}
		n = n*10 + int(b-'0')
	}
	return n
}

// parseDate reads YYYY-MM-DD as days since 1970-01-01.
func parseDate(text []byte) (days int64, f *fault) {
	if len(text) != 10 || text[4] != '-' || text[7] != '-' {
		return 0, notDate
	}
	year, month, dayOfMonth := number(text[:4]), number(text[5:7]), number(text[8:])
	if year < 0 || month < 1 || month > 12 || dayOfMonth < 1 || dayOfMonth > daysInMonth(year, month) {
		return 0, notDate
	}
	if year < firstYear || year > lastYear {
		return 0, yearRange
	}
	return daysFromCivil(year, month, dayOfMonth), nil
}

// parseTimestamp reads an RFC 3339 timestamp as microseconds since 1970-01-01 UTC; digits beyond
// the microsecond are cut off. The T may be a space, T and Z may be lower case, and the seconds may
// be left out. Without an offset the result is local, and holds the wall clock as if it were UTC.
func parseTimestamp(text []byte) (micros int64, local bool, f *fault) {
	if len(text) < len("2006-01-02T15:04") {
		return 0, false, notTimestamp
	}
	if sep := text[10]; sep != 'T' && sep != 't' && sep != ' ' {
		return 0, false, notTimestamp
	}
	days, f := parseDate(text[:10])
	if f == notDate {
		return 0, false, notTimestamp
	}
	clock, rest, clockFault := parseClock(text[11:])
	if clockFault != nil {
		return 0, false, clockFault
	}
	offset, local, ok := parseOffset(rest)
	if !ok {
		return 0, false, notTimestamp
	}
	return days*day + clock - offset, local, f
}

// parseClock reads hh:mm[:ss[.fraction]] and gives what follows it.
func parseClock(text []byte) (micros int64, rest []byte, f *fault) {
	h, m := number(text[:2]), number(text[3:5])
	if text[2] != ':' || h < 0 || h > 23 || m < 0 || m > 59 {
		return 0, nil, notTimestamp
	}
	micros, rest = int64(h)*hour+int64(m)*minute, text[5:]
	if len(rest) == 0 || rest[0] != ':' {
		return micros, rest, nil
	}
	if len(rest) < 3 {
		return 0, nil, notTimestamp
	}
	s := number(rest[1:3])
	if s == 60 {
		return 0, nil, leapSecond
	}
	if s < 0 || s > 59 {
		return 0, nil, notTimestamp
	}
	fraction, rest, ok := parseFraction(rest[3:])
	if !ok {
		return 0, nil, notTimestamp
	}
	return micros + int64(s)*second + fraction, rest, nil
}

// parseFraction reads .digits, where there is a point, to the microsecond.
func parseFraction(text []byte) (micros int64, rest []byte, ok bool) {
	if len(text) == 0 || text[0] != '.' {
		return 0, text, true
	}
	unit, i := int64(second), 1
	for ; i < len(text) && text[i] >= '0' && text[i] <= '9'; i++ {
		unit /= 10
		micros += int64(text[i]-'0') * unit
	}
	return micros, text[i:], i > 1
}

// parseOffset reads Z, ±hh:mm or nothing at all.
func parseOffset(text []byte) (micros int64, local, ok bool) {
	switch {
	case len(text) == 0:
		return 0, true, true
	case len(text) == 1:
		return 0, false, text[0] == 'Z' || text[0] == 'z'
	case len(text) != 6 || text[3] != ':' || text[0] != '+' && text[0] != '-':
		return 0, false, false
	}
	h, m := number(text[1:3]), number(text[4:])
	if h < 0 || h > 23 || m < 0 || m > 59 {
		return 0, false, false
	}
	micros = int64(h)*hour + int64(m)*minute
	if text[0] == '-' {
		micros = -micros
	}
	return micros, false, true
}

// appendDate writes days since 1970-01-01 as YYYY-MM-DD.
func appendDate(buf []byte, days int64) []byte {
	year, month, dayOfMonth := civilFromDays(days)
	buf = appendDigits(buf, year, 4)
	buf = append(buf, '-')
	buf = appendDigits(buf, month, 2)
	buf = append(buf, '-')
	return appendDigits(buf, dayOfMonth, 2)
}

// appendTimestamp writes microseconds since 1970-01-01 UTC as an RFC 3339 timestamp, without an
// offset when local.
func appendTimestamp(buf []byte, micros int64, local bool) []byte {
	days := floorDiv(micros, day)
	rest := micros - days*day
	buf = append(appendDate(buf, days), 'T')
	buf = append(appendDigits(buf, int(rest/hour), 2), ':')
	buf = append(appendDigits(buf, int(rest%hour/minute), 2), ':')
	buf = append(appendDigits(buf, int(rest%minute/second), 2), '.')
	buf = appendDigits(buf, int(rest%second), 6)
	if !local {
		buf = append(buf, 'Z')
	}
	return buf
}

// appendDigits writes n with zeros in front up to the width.
func appendDigits(buf []byte, n, width int) []byte {
	if n < 0 {
		buf = append(buf, '-')
		n = -n
	}
	for limit := 10; width > 1; width, limit = width-1, limit*10 {
		if n < limit {
			buf = append(buf, '0')
		}
	}
	return strconv.AppendInt(buf, int64(n), 10)
}
