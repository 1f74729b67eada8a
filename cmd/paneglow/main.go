// Command paneglow designs what a machine's front panel shows, keeps it inside
// the machine's supply, and packs it for the machine's controller.
//
//	paneglow new my-panel            a small show to begin with
//	paneglow check my-panel          what is wrong, what it draws, what it weighs
//	paneglow render my-panel --clip rest -o rest.png
//	paneglow export my-panel -o panel.table
//
// Results go to standard output, messages to standard error. It exits with 0
// when done, 1 when the input has errors, 2 when the command line has.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"paneglow/anim/finding"
	"paneglow/controller/attach"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// app is what every command needs from outside.
type app struct {
	out, err io.Writer
	strict   bool
}

// usageError is a mistake on the command line: exit 2.
type usageError struct{ error }

// findingsError says that findings were already told and forbid going on.
type findingsError struct{ n int }

func (e findingsError) Error() string {
	if e.n == 1 {
		return "1 finding to mend"
	}
	return fmt.Sprintf("%d findings to mend", e.n)
}

// run is main without the process.
func run(args []string, out, errs io.Writer) int {
	a := &app{out: out, err: errs}
	root := &cobra.Command{
		Use:           "paneglow",
		Short:         "light for a machine's front panel: design, prove, pack",
		Long:          rootHelp,
		Example:       "  paneglow new my-panel && paneglow check my-panel",
		SilenceErrors: true,
		SilenceUsage:  true,
		RunE: func(cmd *cobra.Command, _ []string) error { // unknown commands never come here
			return cmd.Help()
		},
	}
	root.SetOut(out)
	root.SetErr(errs)
	root.SetArgs(args)
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error { return usageError{plainFlag(err)} })
	root.SetHelpCommand(helpCommand())
	root.PersistentFlags().BoolVar(&a.strict, "strict", false, "warnings count as errors")
	root.AddCommand(a.demoCommand(), a.newCommand(), a.checkCommand(), a.renderCommand(), a.exportCommand(), a.inspectCommand(), a.adviseCommand(), a.reportCommand(), a.fitCommand(), a.explainCommand(),
		a.uploadCommand(), a.statusCommand(), a.streamCommand(), a.commissionCommand(), a.logCommand(), a.replayCommand())
	cmd, err := root.ExecuteC()
	if err == nil {
		return 0
	}
	var told findingsError
	if !errors.As(err, &told) {
		a.tellError(err)
	}
	var usage usageError
	if errors.As(err, &usage) || errors.Is(err, attach.ErrUsage) || strings.HasPrefix(err.Error(), "unknown command") {
		fmt.Fprintf(errs, "usage: %s\n", cmd.UseLine())
		if cmd.Example != "" {
			fmt.Fprintf(errs, "for example:\n%s\n", cmd.Example)
		}
		return 2
	}
	return 1
}

const rootHelp = `Paneglow is for people who rebuild a machine's front panel with addressable
LED strips behind frosted glass. It turns a show (show.toml) for a machine
(machine.toml) into frames whose current is proven to fit the supply, shows
them through the glass, and packs them into a table for an 8-bit controller.`

// plainFlag puts a flag's refusal into words where the flag library shows how it
// parses.
func plainFlag(err error) error {
	before, how, ok := strings.Cut(err.Error(), ": strconv.")
	switch {
	case !ok:
		return err
	case strings.HasPrefix(how, "ParseBool"):
		return fmt.Errorf("%s: write true or false", before)
	case strings.HasSuffix(how, strconv.ErrRange.Error()):
		return fmt.Errorf("%s: the number is too large", before)
	}
	return fmt.Errorf("%s: write a whole number", before)
}

// helpCommand is cobra's own but for a name that is no command: that is bad
// usage, not a page of help.
func helpCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "help [COMMAND]",
		Short:   "tell how a command is used",
		Example: "  paneglow help check",
		RunE: func(cmd *cobra.Command, args []string) error {
			about, rest, err := cmd.Root().Find(args)
			if err == nil && len(rest) > 0 {
				err = fmt.Errorf("unknown command %q for %q", rest[0], about.CommandPath())
			}
			if err != nil {
				return usageError{err}
			}
			about.InitDefaultHelpFlag()
			return about.Help()
		},
	}
}

// argument takes exactly one positional argument of a kind.
func argument(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != 1 {
			return usageError{fmt.Errorf("%s wants one argument, %s, and got %d", cmd.CommandPath(), what, len(args))}
		}
		if strings.TrimSpace(args[0]) == "" {
			return usageError{fmt.Errorf("%s wants %s, and got an empty name", cmd.CommandPath(), what)}
		}
		return nil
	}
}

// The message rules: a finding is one line "severity: where: what" and, when
// there is a remedy, a line "  fix: how". Lower case, no full stop. Findings
// go to standard error, at most fifty of them.
const mostTold = 50

func (a *app) tell(list finding.List) {
	for i, f := range list {
		if i == mostTold {
			fmt.Fprintf(a.err, "note: and %d more\n", len(list)-mostTold)
			return
		}
		if f.Where != "" {
			fmt.Fprintf(a.err, "%s: %s: %s [%s]\n", f.Severity, f.Where, f.Message, f.Code)
		} else {
			fmt.Fprintf(a.err, "%s: %s [%s]\n", f.Severity, f.Message, f.Code)
		}
		if f.Fix != "" {
			fmt.Fprintf(a.err, "  fix: %s\n", f.Fix)
		}
	}
}

func (a *app) tellError(err error) {
	var list finding.List
	var one finding.Finding
	switch {
	case errors.As(err, &list):
		a.tell(list)
	case errors.As(err, &one):
		a.tell(finding.List{one})
	default:
		fmt.Fprintf(a.err, "error: %v\n", err)
	}
}

// verdict turns findings into an exit: errors always count, warnings with
// --strict.
func (a *app) verdict(list finding.List) error {
	n := list.Count(finding.Error)
	if a.strict {
		n += list.Count(finding.Warning)
	}
	if n > 0 {
		return findingsError{n}
	}
	return nil
}
