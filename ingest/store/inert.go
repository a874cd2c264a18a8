package store

import (
	"strings"
	"unicode"
)

// Inert makes a text harmless to a spreadsheet and to a terminal in which the file is looked at: a quote goes before what
// could be read as a formula, at its start and after what some locales take for the end of a cell (common practice against
// formula injection, no source), and control characters are shown as signs.
func Inert(s string) string {
	var out strings.Builder
	start := true
	for _, r := range s {
		if start && strings.ContainsRune("=+-@\t\r＝＋－＠", r) {
			out.WriteByte('\'')
		}
		out.WriteRune(sign(r))
		start = strings.ContainsRune(";\t\r\n", r)
	}
	return out.String()
}

// Hidden reports whether a character is not seen but steers what is: a control character, which a terminal may obey, or one
// of Unicode's bidirectional controls, which turn the text around them.
func Hidden(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) }

// Shown is what stands for a character on a page or a terminal: the replacement character for a hidden one that is neither
// a line break nor a tab.
func Shown(r rune) rune {
	if Hidden(r) && r != '\n' && r != '\t' {
		return unicode.ReplacementChar
	}
	return r
}

// sign stands for a control character: its picture in Unicode where there is one.
func sign(r rune) rune {
	switch {
	case r == '\t' || r == '\r' || r == '\n':
		return r
	case r < ' ':
		return '␀' + r
	case r == 0x7f:
		return '␡'
	case Hidden(r):
		return unicode.ReplacementChar
	}
	return r
}
