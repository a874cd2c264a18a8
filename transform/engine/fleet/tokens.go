package fleet

import (
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// token is a piece of SQL. Pieces put together are the text they were cut from.
type token struct {
	kind kind
	text string
}

type kind int

const (
	blank  kind = iota // white space or a comment
	word               // a name, a keyword or a parameter, such as $from
	quoted             // a name in double quotes
	text               // a text in single quotes
	number
	sign // an operator or a bracket
)

// numberForm is how a number begins.
var numberForm = regexp.MustCompile(`^[0-9.]+([eE][+-]?[0-9]+)?`)

// signs of more than one character.
var signs = []string{"||", "<>", "<=", ">=", ">>", "<<", "//", "->", "::", "!="}

// tokens cuts SQL into pieces. What is not closed reaches to the end, and the engine will say so.
func tokens(sql string) (out []token) {
	for len(sql) > 0 {
		k, n := first(sql)
		out = append(out, token{k, sql[:n]})
		sql = sql[n:]
	}
	return out
}

// first is the kind and length of the piece that SQL begins with.
func first(sql string) (kind, int) {
	r, size := utf8.DecodeRuneInString(sql)
	switch {
	case strings.HasPrefix(sql, "--"):
		if end := strings.IndexByte(sql, '\n'); end >= 0 {
			return blank, end
		}
		return blank, len(sql)
	case unicode.IsSpace(r):
		return blank, run(sql, unicode.IsSpace)
	case r == '\'':
		return text, closed(sql, '\'')
	case r == '"':
		return quoted, closed(sql, '"')
	case r >= '0' && r <= '9':
		return number, len(numberForm.FindString(sql))
	case inWord(r) || r == '$':
		return word, size + run(sql[size:], inWord)
	}
	for _, s := range signs {
		if strings.HasPrefix(sql, s) {
			return sign, len(s)
		}
	}
	return sign, size
}

func inWord(r rune) bool { return r == '_' || unicode.IsLetter(r) || unicode.IsDigit(r) }

// run is how long all runes are of a kind.
func run(s string, is func(rune) bool) int {
	if end := strings.IndexFunc(s, func(r rune) bool { return !is(r) }); end >= 0 {
		return end
	}
	return len(s)
}

// closed is the length of what stands between two marks, of which two together are one that does not close.
func closed(s string, mark byte) int {
	for i := 1; i < len(s); i++ {
		if s[i] != mark {
			continue
		}
		if i+1 < len(s) && s[i+1] == mark {
			i++
			continue
		}
		return i + 1
	}
	return len(s)
}

// is tells whether a piece is the given word or sign, in any case of letters.
func (t token) is(s string) bool {
	return (t.kind == word || t.kind == sign) && strings.EqualFold(t.text, s)
}

// next is the place of the first piece at or after i that is not blank; the number of pieces where there is none.
func next(ts []token, i int) int {
	for i < len(ts) && ts[i].kind == blank {
		i++
	}
	return i
}

// follow tells whether the given words or signs come next, with blanks between them, and where they end.
func follow(ts []token, i int, want ...string) (end int, ok bool) {
	for _, w := range want {
		i = next(ts, i)
		if i == len(ts) || !ts[i].is(w) {
			return 0, false
		}
		i++
	}
	return i, true
}

// bracket is the place after the bracket that closes the one at i.
func bracket(ts []token, i int) int {
	depth := 0
	for ; i < len(ts); i++ {
		switch {
		case ts[i].is("("):
			depth++
		case ts[i].is(")"):
			if depth--; depth == 0 {
				return i + 1
			}
		}
	}
	return len(ts)
}

// split cuts pieces at a comma outside brackets.
func split(ts []token) (parts [][]token) {
	depth, from := 0, 0
	for i, t := range ts {
		switch {
		case t.is("("), t.is("["):
			depth++
		case t.is(")"), t.is("]"):
			depth--
		case t.is(",") && depth == 0:
			parts = append(parts, ts[from:i])
			from = i + 1
		}
	}
	return append(parts, ts[from:])
}

// cut parts pieces at the first of the given words outside brackets.
func cut(ts []token, at ...string) (before, after []token) {
	depth := 0
	for i, t := range ts {
		switch {
		case t.is("("):
			depth++
		case t.is(")"):
			depth--
		case depth == 0:
			if end, ok := follow(ts, i, at...); ok && t.kind != blank {
				return ts[:i], ts[end:]
			}
		}
	}
	return ts, nil
}

func plain(ts []token) string {
	var b strings.Builder
	for _, t := range ts {
		b.WriteString(t.text)
	}
	return strings.TrimSpace(b.String())
}
