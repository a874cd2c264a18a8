package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

type manualCmd struct{}

// Run prints the manual page.
func (manualCmd) Run(a *app, model *kong.Application) error {
	_, err := fmt.Fprint(a.t.out, manual(model))
	return err
}

// examples are commands that a person would type, with what they do. The tests run them in order, in a folder with a few
// record files in records/, so that none of them is ever wrong.
var examples = []struct{ line, does string }{
	{"scanledger check records", "see what is wrong with record files, before anything is kept"},
	{"scanledger load --store ledger records", "take a folder of record files in"},
	{"scanledger build --store ledger --out pages", "make figures and pages; open pages/index.html"},
	{"scanledger build --store ledger --out pages --from 2026-01 --to 2026-06", "the same for half a year"},
	{"scanledger report --store ledger --out reports --month 2026-03", "issue a month; run again, it stands or is restated"},
	{"scanledger report --store ledger --out reports --json", "issue what is due, for a scheduler"},
	{"scanledger sample --store ledger --month 2026-03 --size 1 --trial --out sample", "draw an audit sample without keeping it"},
	{"scanledger ask --store ledger \"SELECT call, count(*) FROM readings GROUP BY call\"", "ask the records anything"},
	{"scanledger explain --out pages --store ledger detection:1", "see where a figure comes from, down to file and line"},
	{"scanledger verify --store ledger", "recompute every count and checksum"},
	{"scanledger repair --store ledger", "rebuild what verify names as damaged or missing"},
	{"scanledger repair --store ledger --into again", "rebuild the whole store from the record files it keeps, and compare"},
	{"scanledger forget --store ledger --technician T1 --dry-run", "count what would go if a technician's records were removed"},
	{"scanledger forget --store ledger --older-than 120", "remove records of more than ten years ago"},
	{"scanledger records readings", "see what a row of readings must hold"},
}

// roff makes text safe in a manual page: backslashes and dashes are the characters themselves, and no line begins with a
// request.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(text)
	if strings.HasPrefix(text, ".") || strings.HasPrefix(text, "'") {
		return `\&` + text
	}
	return text
}

// manual is the manual page, section 1, made of the commands themselves.
func manual(model *kong.Application) string {
	var out strings.Builder
	line := func(format string, args ...any) { _, _ = fmt.Fprintf(&out, format+"\n", args...) } // a Builder takes everything
	line(`.TH SCANLEDGER 1 "" "scanledger %s" "User commands"`, versionNumber)
	line(".SH NAME\nscanledger \\- ledger of calls made with hand\\-held movement sensors")
	line(".SH SYNOPSIS\n.B scanledger\n.I command\n[options]")
	line(".SH DESCRIPTION\n%s", roff("Takes in inspection records, reading logs and later findings, and shows how well the calls held up."))
	line(".PP\n%s", roff(strings.ReplaceAll(cautions, "\n", " ")))
	line(".SH COMMANDS")
	for _, c := range model.Leaves(true) {
		line(".SS %s\n%s", roff(c.Summary()), roff(c.Help))
		for _, p := range c.Positional {
			line(".TP\n.I %s\n%s", roff(p.Summary()), roff(p.Help))
		}
		for _, f := range c.Flags {
			line(".TP\n.B %s\n%s", roff(f.String()), roff(f.Help))
		}
	}
	line(".SH OPTIONS OF EVERY COMMAND")
	for _, f := range model.Flags {
		line(".TP\n.B %s\n%s", roff(f.String()), roff(f.Help))
	}
	line(".SH EXIT STATUS\n%s", roff(exitCodes))
	line(".SH EXAMPLES")
	for _, e := range examples {
		line(".TP\n.B %s\n%s", roff(e.line), roff(e.does))
	}
	return out.String()
}

type completionCmd struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"bash, zsh or fish."`
}

// Run prints what a shell reads to complete commands and flags.
func (c completionCmd) Run(a *app, model *kong.Application) error {
	_, err := fmt.Fprint(a.t.out, map[string]func(*kong.Application) string{"bash": bashCompletion, "zsh": zshCompletion, "fish": fishCompletion}[c.Shell](model))
	return err
}

// flagNames are the flags of a command and those of every command, with their dashes.
func flagNames(model *kong.Application, command *kong.Node) []string {
	var out []string
	for _, f := range slices.Concat(command.Flags, model.Flags) {
		if !f.Hidden && f.Name != "help" {
			out = append(out, "--"+f.Name)
		}
	}
	return append(out, "--help")
}

func commandNames(model *kong.Application) []string {
	var out []string
	for _, c := range model.Leaves(true) {
		out = append(out, c.Name)
	}
	return out
}

func bashCompletion(model *kong.Application) string {
	var cases strings.Builder
	for _, c := range model.Leaves(true) {
		_, _ = fmt.Fprintf(&cases, "    %s) words=%q ;;\n", c.Name, strings.Join(flagNames(model, c), " "))
	}
	return fmt.Sprintf(`# scanledger: completion for bash. Put it where bash looks, or: source <(scanledger completion bash)
_scanledger() {
  local words current="${COMP_WORDS[COMP_CWORD]}"
  if [ "$COMP_CWORD" -eq 1 ]; then
    COMPREPLY=($(compgen -W %q -- "$current"))
    return
  fi
  case "${COMP_WORDS[1]}" in
%s  esac
  if [[ "$current" == -* ]]; then
    COMPREPLY=($(compgen -W "$words" -- "$current"))
  else
    COMPREPLY=($(compgen -f -- "$current"))
  fi
}
complete -o filenames -F _scanledger scanledger
`, strings.Join(commandNames(model), " "), cases.String())
}

func zshCompletion(model *kong.Application) string {
	return "#compdef scanledger\n# scanledger: completion for zsh, by way of the one for bash. Put it in a folder of $fpath as _scanledger.\nautoload -U +X bashcompinit && bashcompinit\n" + bashCompletion(model)
}

func fishCompletion(model *kong.Application) string {
	var out strings.Builder
	out.WriteString("# scanledger: completion for fish. Put it in ~/.config/fish/completions/scanledger.fish\n")
	quote := func(s string) string { return "'" + strings.NewReplacer(`\`, `\\`, "'", `\'`).Replace(s) + "'" }
	for _, c := range model.Leaves(true) {
		_, _ = fmt.Fprintf(&out, "complete -c scanledger -n __fish_use_subcommand -a %s -d %s\n", c.Name, quote(c.Help))
		for _, f := range slices.Concat(c.Flags, model.Flags) {
			if !f.Hidden {
				_, _ = fmt.Fprintf(&out, "complete -c scanledger -n '__fish_seen_subcommand_from %s' -l %s -d %s\n", c.Name, f.Name, quote(f.Help))
			}
		}
	}
	return out.String()
}

// exampleText is how --help shows the examples.
func exampleText() string {
	out := "Examples:\n"
	for _, e := range examples {
		out += "\n  " + e.line + "\n      " + e.does + "\n"
	}
	return out
}
