package forget

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"scanledger/transform/codes"
)

// standIn is what stands in the place of an id or a name that was removed.
const standIn = "forgotten"

// shortestWord is the fewest letters of an id or a part of a name that is looked for within other text: shorter ones are
// words like any other. (House's choice.)
const shortestWord = 3

// words are what tells who or which site is meant, and what stands in their place.
type words struct {
	id    string // of the technician or site
	code  string // in its place
	found *regexp.Regexp
}

// wordsOf are the id, the names and the parts of the names.
func wordsOf(r Request, names []string) words {
	w := words{id: cmp.Or(r.Technician, r.Site), code: standIn}
	if w.id == "" {
		return w
	}
	if r.Coder != nil {
		kind := codes.Technician
		if r.Site != "" {
			kind = codes.Site
		}
		w.code = r.Coder.Code(kind, w.id)
	}
	all := append([]string{w.id}, names...)
	for _, name := range names {
		all = append(all, strings.Fields(name)...)
	}
	all = slices.DeleteFunc(all, func(s string) bool { return utf8.RuneCountInString(s) < shortestWord })
	slices.SortFunc(all, func(a, b string) int { return cmp.Or(len(b)-len(a), strings.Compare(a, b)) }) // longest first
	for i := range all {
		all[i] = regexp.QuoteMeta(all[i])
	}
	if all = slices.Compact(all); len(all) > 0 {
		w.found = regexp.MustCompile("(?i)" + strings.Join(all, "|"))
	}
	return w
}

// erase puts the code in the place of every word that tells, where it stands by itself.
func (w words) erase(text string) string {
	if w.found == nil {
		return text
	}
	var out strings.Builder
	done := 0
	for at := 0; at < len(text); {
		span := w.found.FindStringIndex(text[at:])
		if span == nil {
			break
		}
		from, to := at+span[0], at+span[1]
		before, _ := utf8.DecodeLastRuneInString(text[:from])
		after, _ := utf8.DecodeRuneInString(text[to:])
		if partOfWord(before) || partOfWord(after) {
			_, size := utf8.DecodeRuneInString(text[from:])
			at = from + size
			continue
		}
		out.WriteString(text[done:from] + w.code)
		done, at = to, to
	}
	return out.String() + text[done:]
}

// partOfWord reports whether a character joins what stands beside it to a longer word. RuneError, at an end, does not.
func partOfWord(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }
