// Command paneglow-preview opens a show in a window.
//
//	paneglow-preview my-panel
//
// Messages go to standard error. It exits with 0 when the window was closed, 1
// when the show cannot be opened or there is no display, 2 when the command line
// is wrong.
package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/pflag"

	"paneglow/anim/finding"
	"paneglow/controller/attach"
	"paneglow/preview/view"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

const usage = `usage: paneglow-preview SHOW [flags]

Opens a show (a file, or a folder that holds show.toml) in a window: the panel
through its glass, its timeline, its supply and its states. ? in the window
lists the keys.

flags:
%s
for example:
  paneglow new my-panel && paneglow-preview my-panel
  paneglow-preview my-panel --to /dev/ttyACM0     on the real strips as well
`

// settings are the command line.
type settings struct {
	show   string
	state  string
	frames int
	hurry  bool
	light  bool
	forget bool
	width  int
	height int
	target attach.Target
}

// run is main without the process; the window needs the process's first goroutine.
func run(args []string, out, errs io.Writer) int {
	s, flags, err := parse(args)
	switch {
	case errors.Is(err, pflag.ErrHelp):
		fmt.Fprintf(out, usage, flags.FlagUsages())
		return 0
	case err != nil:
		fmt.Fprintf(errs, "error: %v\n"+usage, err, flags.FlagUsages())
		return 2
	}
	m, err := newModel(s)
	if err != nil {
		tell(errs, err)
		return 1
	}
	// The command line's size, else the remembered one, else the view's own.
	w, h := m.Size()
	if s.width > 0 || s.height > 0 {
		w, h = s.width, s.height
	}
	told, err := view.Run(m, view.Options{W: w, H: h, Frames: s.frames, Hurry: s.hurry})
	if err := errors.Join(err, m.Close()); err != nil {
		fmt.Fprintf(errs, "error: %v\n", err)
		return 1
	}
	if s.frames > 0 {
		if err := report(out, told); err != nil {
			fmt.Fprintf(errs, "error: %v\n", err)
			return 1
		}
	}
	return 0
}

func parse(args []string) (s settings, flags *pflag.FlagSet, err error) {
	flags = pflag.NewFlagSet("paneglow-preview", pflag.ContinueOnError)
	flags.SetOutput(io.Discard)
	flags.Usage = func() {}
	flags.StringVar(&s.state, "state", "", "keep a file up to date with what the window shows, as JSON")
	flags.IntVar(&s.width, "width", 0, "width of the window in logical pixels")
	flags.IntVar(&s.height, "height", 0, "height of the window in logical pixels")
	flags.IntVar(&s.frames, "frames", 0, "close after so many frames and print what they took, as JSON")
	flags.BoolVar(&s.light, "light", false, "the light theme")
	flags.BoolVar(&s.forget, "forget", false, "open it as new, and remember nothing of its size and view")
	flags.BoolVar(&s.hurry, "hurry", false, "draw as fast as the machine can, for measuring")
	s.target.Flags(flags)
	if err = flags.Parse(args); err != nil {
		return s, flags, err
	}
	switch {
	case flags.NArg() != 1 || flags.Arg(0) == "":
		return s, flags, fmt.Errorf("paneglow-preview wants one argument, a show, and got %d", flags.NArg())
	case s.frames < 0:
		return s, flags, fmt.Errorf("--frames %d is below 0", s.frames)
	case s.width < 0 || s.height < 0 || s.width > 16384 || s.height > 16384:
		return s, flags, fmt.Errorf("a window of %d x %d pixels is outside 0 to 16384", s.width, s.height)
	}
	s.show = flags.Arg(0)
	return s, flags, nil
}

// report says what was drawn.
func report(out io.Writer, told view.Told) error {
	return json.NewEncoder(out).Encode(struct {
		Frames int    `json:"frames"`
		First  string `json:"first_picture"`
		Panel  string `json:"first_panel"` // year 1 where none was shown
	}{told.Frames, told.First.Format(time.RFC3339Nano), told.Panel.Format(time.RFC3339Nano)})
}

// tell prints an error: findings with their fixes, one line each.
func tell(errs io.Writer, err error) {
	var list finding.List
	var one finding.Finding
	switch {
	case errors.As(err, &list):
	case errors.As(err, &one):
		list = finding.List{one}
	default:
		fmt.Fprintf(errs, "error: %v\n", err)
		return
	}
	for _, f := range list {
		fmt.Fprintf(errs, "%s: %s: %s [%s]\n", f.Severity, f.Where, f.Message, f.Code)
		if f.Fix != "" {
			fmt.Fprintf(errs, "  fix: %s\n", f.Fix)
		}
	}
}
