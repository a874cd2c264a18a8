package ingest

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"unicode/utf16"
)

// utf16Text is text as UTF-16 with a byte-order mark, the low byte first unless big.
func utf16Text(text string, big bool) string {
	var out []byte
	for _, unit := range append([]uint16{0xfeff}, utf16.Encode([]rune(text))...) {
		low, high := byte(unit), byte(unit>>8)
		if big {
			low, high = high, low
		}
		out = append(out, low, high)
	}
	return string(out)
}

// TestHostileText holds files made by hand to the rows and rejects that must come of them.
func TestHostileText(t *testing.T) {
	deep := func(open, end string) string { return strings.Repeat(open, 10_000) + "1" + strings.Repeat(end, 10_000) }
	for _, test := range []struct {
		name, file, content string
		want                []string // as techRows has it
	}{
		{"unterminated quote", "csv", techHeader + "T1,\"a,\nT2,b,\n", []string{"2 !quote_not_closed", "3 T2|b"}},
		{"unterminated quote at the end", "csv", techHeader + "T1,a,\nT2,\"", []string{"2 T1|a", "3 !quote_not_closed"}},
		{"a quote on every line", "csv", techHeader + strings.Repeat("T,\"\n", 3) + "T2,b,\n", []string{"2 !cell_count", "4 !quote_not_closed", "5 T2|b"}}, // the first two make one cell
		{"NUL", "csv", techHeader + "T1,a\x00b,\nT\x002,b,\n\x00,,\nT4,d,\n", []string{"2 !utf8", "3 !utf8", "4 !utf8", "5 T4|d"}},
		{"bad UTF-8: a stray byte, an overlong slash, half a surrogate pair, beyond Unicode, cut short", "csv",
			techHeader + "T1,\xff,\nT2,\xc0\xaf,\nT3,\xed\xa0\x80,\nT4,\xf4\x90\x80\x80,\nT5,\xe2\x82,\nT6,\u20ac,\n", []string{"2 !utf8", "3 !utf8", "4 !utf8", "5 !utf8", "6 !utf8", "7 T6|€"}},
		{"a byte-order mark before the header", "csv", "\ufeff" + techHeader + "T1,a,\n", []string{"2 T1|a"}},
		{"a byte-order mark on a later line is no printable character", "csv", techHeader + "\ufeffT1,a,\n", []string{"2 !printable"}},
		{"mixed line ends", "csv", techHeader + "T1,a,\r\nT2,b,\rT3,c,\n\r\n\r\rT4,d,", []string{"2 T1|a", "3 T2|b", "4 T3|c", "8 T4|d"}},
		{"years 0, 9999 and beyond", "csv", techHeader + "T1,a,0000-01-01\nT2,b,9999-12-31\nT3,c,-001-01-01\nT4,d,10000-01-01\nT5,e,1900-01-01\nT6,f,2200-12-31\n",
			[]string{"2 !range", "3 !range", "4 !type", "5 !type", "6 T5|e", "7 T6|f"}},
		{"ids that are paths are ids", "csv", techHeader + "../../etc/passwd,a,\n/etc/passwd,b,\nC:\\con,c,\n..,d,\n%2e%2e%2f,e,\n",
			[]string{"2 ../../etc/passwd|a", "3 /etc/passwd|b", "4 C:\\con|c", "5 ..|d", "6 %2e%2e%2f|e"}},
		{"ids that would turn or steer a terminal", "csv", techHeader + "T\u202e1,a,\nT\x1b[2J,b,\nT\u009b2J,c,\nT\u2066x,d,\nT\u200b,e,\n",
			[]string{"2 !printable", "3 !printable", "4 !printable", "5 !printable", "6 !printable"}},
		{"formulas, SQL and markup are text", "csv", techHeader + "T1,=1+1,\nT2,\"x'); DROP TABLE t;--\",\nT3,<script>alert(1)</script>,\n",
			[]string{"2 T1|=1+1", "3 T2|x'); DROP TABLE t;--", "4 T3|<script>alert(1)</script>"}},
		{"lists 10,000 deep", "jsonl", deep("[", "]") + "\n{\"technician_id\":" + deep("[", "]") + "}\n{\"technician_id\":\"T3\",\"x\":" + deep("[", "]") + "}\n{\"technician_id\":\"T4\"}\n",
			[]string{"1 !json_object", "2 !json_nested", "3 !json_nested", "4 T4|"}},
		{"objects 10,000 deep, closed and not", "jsonl", deep(`{"technician_id":`, "}") + "\n" + strings.Repeat(`{"a":`, 10_000) + "\n" + strings.Repeat("[", 500_000) + "\n{\"technician_id\":\"T4\"}\n",
			[]string{"1 !json_nested", "2 !json_nested", "3 !json", "4 T4|"}},
		{"no JSON", "jsonl", "{\"technician_id\":\"T1\"\n{'technician_id':'T2'}\n{\"technician_id\":NaN}\n{\"technician_id\":\"T\\x\"}\n\"T5\"\n{}{}\n{\"technician_id\":\"T7\"},\n",
			[]string{"1 !json", "2 !json", "3 !json", "4 !json", "5 !json_object", "6 !json", "7 !json"}},
		{"escapes: NUL, half a surrogate pair, both halves", "jsonl", `{"technician_id":"T1","name":"a\u0000"}` + "\n" + `{"technician_id":"T2","name":"\ud800"}` + "\n" + `{"technician_id":"T3","name":"\ud83d\udc1c"}` + "\n",
			[]string{"1 !utf8", "2 !utf8", "3 T3|🐜"}},
		{"a name twice", "jsonl", `{"technician_id":"T1","technician_id":"T2"}` + "\n" + `{"technician_id":"T1"," TECHNICIAN_ID ":"T2"}` + "\n", []string{"1 !json_duplicate", "2 !json_duplicate"}},
	} {
		out, err := readText(t, "technicians."+test.file, test.content)
		if got := techRows(out); err != nil || !slices.Equal(got, test.want) {
			t.Errorf("%s: %.300q, %v; want %q", test.name, got, err, test.want)
		}
		checkMessages(t, out.Rejects, err)
	}
}

// TestHugeNumbers: no number becomes infinite, not a number, or another number.
func TestHugeNumbers(t *testing.T) {
	const whole, real = "gain_min,gain_start,gain_max", "gain_low"
	digits := strings.Repeat("9", 400)
	for text, want := range map[string]string{
		"NaN": "type", "nan": "type", "Infinity": "type", "-Inf": "type", "1e999": "type", "-1e400": "type", "1e-400": "type", digits: "type", "-" + digits: "type", "0x10": "type", "1_000": "type",
		"2147483648": "type", "-2147483649": "type", "9223372036854775808": "type", "1e1000000000000000000000": "type", "٣": "type", "１": "type", "1,0": "type", "+": "type", ".": "type", "1.5": "type",
		"7": "", "+7": "", "-0": "", "0000000000000000000000000000000000000007": "",
	} {
		out := mustRead(t, "units.jsonl", fmt.Sprintf(`{"unit_id":"U1","gain_min":%q,"gain_start":%q,"gain_max":%q}`, text, text, text))
		if got := rulesOf(out.Rejects); want == "" && len(got) > 0 || want != "" && !slices.Equal(got, []string{want, want, want}) {
			t.Errorf("%.40s as %s: broken %q", text, whole, got)
		}
	}
	for text, want := range map[string]string{
		"NaN": "type", "+Inf": "type", "1e999": "type", "-1e999": "type", digits: "type", "1e308": "maximum", "1e-400": "", "-1e-400": "", "4.9e-324": "", "1e-999999999999": "", "100.00000000000001": "maximum", "99.99999999999999": "", "-0.0": "",
	} {
		tb := seedTable.jsonl(t)
		line, _, _ := strings.Cut(string(tb), "\n")
		out := mustRead(t, "readings.jsonl", strings.TrimSuffix(line, "}")+fmt.Sprintf(`,"level_pct":%q}`, text))
		got := strings.Join(rulesOf(out.Rejects), " ")
		if got != want {
			t.Errorf("%.40s as %s: broken %q, want %q", text, real, got, want)
		}
	}
}

func rulesOf(rejects []Reject) (rules []string) {
	for _, r := range rejects {
		rules = append(rules, r.Rule)
	}
	return rules
}

// TestHostileWholes are files of which nothing can be read: the error says so in words that lead on.
func TestHostileWholes(t *testing.T) {
	for _, test := range []struct{ name, file, content, cause, remedy string }{
		{"nothing", "technicians.csv", "", "no header row", "first row"},
		{"a byte-order mark and nothing", "technicians.csv", "\ufeff", "no header row", "first row"},
		{"line ends and nothing", "technicians.csv", "\r\n\n\r \n", "no header row", "first row"},
		{"UTF-16, low byte first", "technicians.csv", utf16Text(techHeader, false), "UTF-16", "UTF-8"},
		{"UTF-16, high byte first", "technicians.csv", utf16Text(techHeader, true), "UTF-16", "UTF-8"},
		{"UTF-16 without a mark", "technicians.csv", utf16Text(techHeader, false)[2:], "UTF-16", "UTF-8"},
		{"UTF-16 without a mark, high byte first", "technicians.csv", utf16Text(techHeader, true)[2:], "UTF-16", "UTF-8"},
		{"UTF-16 JSON Lines", "technicians.jsonl", utf16Text("{}\n", true), "UTF-16", "UTF-8"},
		{"the same column twice", "technicians.csv", "technician_id,name,Technician_ID \n", "occurs twice", "keep one"},
		{"an open quote in the header", "technicians.csv", "technician_id,\"name\nT1,a\n", "cannot be taken apart", "quotes"},
		{"another file's header", "technicians.csv", "unit_id,model\n", "required column missing: technician_id", "rename"},
		{"a picture", "technicians.csv", "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "required column missing", "add it"},
		{"not gzip", "technicians.csv.gz", techHeader, "gzip", "without .gz"},
		{"no byte of gzip", "technicians.csv.gz", "", "EOF", "cut short"},
		{"a program", "technicians.parquet", "\x7fELF\x02\x01\x01" + strings.Repeat("\x00", 64), "parquet", "write the Parquet file again"},
	} {
		_, err := readText(t, test.file, test.content)
		fileErr, ok := errors.AsType[*FileError](err)
		if !ok || !strings.Contains(fileErr.Err.Error(), test.cause) || !strings.Contains(err.Error(), test.remedy) {
			t.Errorf("%s: %v; want %q and %q", test.name, err, test.cause, test.remedy)
		}
		checkMessages(t, nil, err)
	}
}

// TestPipesAndLinks: nothing waits for somebody to write, nothing is read without an end, links to files are followed, and
// no folder is passed over in silence.
func TestPipesAndLinks(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	listener, err := net.Listen("unix", at("technicians-socket.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = listener.Close() }()
	if err := errors.Join(
		syscall.Mkfifo(at("technicians-pipe.csv"), 0o600), os.Mkdir(at("technicians-folder.csv"), 0o700), os.Mkdir(at("sub"), 0o700),
		os.WriteFile(at("sub/technicians.csv"), []byte(techHeader+"T1,a,\n"), 0o600), os.WriteFile(at("technicians-closed.csv"), nil, 0),
		os.Symlink("/dev/zero", at("technicians-zero.csv")), os.Symlink("technicians-loop.csv", at("technicians-loop.csv")), os.Symlink("nowhere", at("technicians-dangling.csv")),
		os.Symlink("technicians-pipe.csv", at("technicians-topipe.csv")), os.Symlink("sub/technicians.csv", at("technicians-link.csv")), os.Symlink(".", at("circle")), os.Symlink("sub", at("link")),
	); err != nil {
		t.Fatal(err)
	}
	for name, cause := range map[string]string{
		"technicians-pipe.csv": "pipe", "technicians-topipe.csv": "pipe", "technicians-zero.csv": "device", "technicians-folder.csv": "folder", "technicians-socket.csv": "no such device",
		"technicians-loop.csv": "too many levels", "technicians-dangling.csv": "no such file",
	} {
		_, err := readFile(t, at(name))
		_, _, hashErr := HashFile(at(name))
		for _, err := range []error{err, hashErr} {
			if err == nil || !strings.Contains(err.Error(), cause) {
				t.Errorf("%s: %v; want %q", name, err, cause)
			}
			checkMessages(t, nil, err)
		}
	}
	if out, err := readFile(t, at("technicians-link.csv")); err != nil || out.Summary.Rows != 1 {
		t.Errorf("a link to a file: %+v, %v", out.Summary, err)
	}
	files, unknown, err := Expand([]string{at("link"), dir})
	if err != nil || !slices.Equal(files[:1], []string{at("link") + "/technicians.csv"}) || !slices.Equal(unknown, []string{at("circle"), at("link")}) {
		t.Errorf("files %q, unknown %q, %v", files, unknown, err)
	}
	for _, path := range unknown {
		if why := WhyUnknown(path); !strings.Contains(why, "; ") {
			t.Errorf("%s: %s", path, why)
		}
	}
}

// TestHostileNames: whatever a file is called, its record set and name are told, and no other file is meant.
func TestHostileNames(t *testing.T) {
	for name, set := range map[string]string{
		"technicians-<img src=x onerror=alert(1)>.csv": "technicians", "technicians-\x1b[2J\u202e.csv": "technicians", "technicians\n.csv": "technicians", "technicians-\xff.csv": "technicians",
		"technicians-;rm -rf $HOME `x`.csv": "technicians", "technicians-%2e%2e%2fx.csv": "technicians", "technicians.." + strings.Repeat("x", 200) + ".csv": "technicians", "TECHNICIANS=1+1.csv": "technicians",
		"=technicians.csv": "", "-technicians.csv": "", "../technicians.exe": "", "technicians.csv.gz.exe": "", ".csv": "",
	} {
		dir := t.TempDir()
		src, err := Identify(filepath.Join(dir, name), "")
		if set == "" {
			checkMessages(t, nil, err)
			if err == nil {
				t.Errorf("%q is taken for %s", name, src.Set.Name)
			}
			continue
		}
		if err != nil || src.Set.Name != set || src.Name != strings.ToValidUTF8(name, "\ufffd") {
			t.Errorf("%q: %+v, %v", name, src, err)
			continue
		}
		if err := os.WriteFile(src.Path, []byte(techHeader+"T1,a,\n,b,\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := readSource(t, src); err != nil || out.Summary.Rows != 2 || len(out.Rejects) != 1 {
			t.Errorf("%q: %+v, %v", name, out.Summary, err)
		}
	}
}
