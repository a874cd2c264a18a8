package ingest

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// TestTexts: texts come back as they went in, whatever stretches of them are put together.
func TestTexts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SliceOf(rapid.String()).Draw(t, "texts")
		var from, to Texts
		for _, s := range want {
			from.Append([]byte(s))
		}
		var wantTo []string
		for range 3 {
			i := rapid.IntRange(0, len(want)).Draw(t, "i")
			j := rapid.IntRange(i, len(want)).Draw(t, "j")
			to.appendRows(&from, i, j)
			wantTo = append(wantTo, want[i:j]...)
		}
		if got := all(&from); !slices.Equal(got, want) {
			t.Errorf("got %q, want %q", got, want)
		}
		if got := all(&to); !slices.Equal(got, wantTo) {
			t.Errorf("got %q, want %q", got, wantTo)
		}
	})
}

func all(texts *Texts) (out []string) {
	for i := range texts.Len() {
		out = append(out, texts.At(i))
	}
	return out
}
