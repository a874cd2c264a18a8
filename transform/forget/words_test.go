package forget

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"scanledger/transform/codes"
)

func TestErase(t *testing.T) {
	w := wordsOf(Request{Technician: "T05"}, []string{"Ada de Quillmark"})
	for text, want := range map[string]string{
		"":                            "",
		"T05":                         "forgotten",
		"t05, T051, xT05 and T05-1":   "forgotten, T051, xT05 and forgotten-1",
		"Ada de Quillmark said no":    "forgotten said no",
		"ask Quillmark; ADA knows":    "ask forgotten; forgotten knows",
		"garage: the key de la porte": "garage: the key de la porte", // short words are words like any other
		"Quillmarks":                  "Quillmarks",
		"T05T05 T05":                  "T05T05 forgotten",
		"éT05 T05é":                   "éT05 T05é",
		"T05\x00T05":                  "forgotten\x00forgotten",
		string([]byte{0xff}) + "T05":  string([]byte{0xff}) + "forgotten",
		"inspections-of-t05.csv":      "inspections-of-forgotten.csv",
	} {
		if got := w.erase(text); got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
	if got := wordsOf(Request{Site: "H1"}, nil).erase("H1 H1"); got != "H1 H1" {
		t.Errorf("a short id was looked for in text: %q", got)
	}
	if got := wordsOf(Request{Months: 3}, nil).erase("anything"); got != "anything" {
		t.Errorf("no words, yet %q", got)
	}
}

// TestEraseLeavesNothing: whatever stands around it, a name between separators is gone, and the rest is kept.
func TestEraseLeavesNothing(t *testing.T) {
	coder, err := codes.New("some words of our own")
	if err != nil {
		t.Fatal(err)
	}
	w := wordsOf(Request{Site: "S-0009", Coder: &coder}, nil)
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOfN(rapid.StringMatching(`[a-zß ]{0,5}`), 1, 6).Draw(t, "parts")
		text := strings.Join(parts, ",S-0009;")
		if got, want := w.erase(text), strings.Join(parts, ","+w.code+";"); got != want {
			t.Fatalf("%q: got %q, want %q", text, got, want)
		}
	})
}
