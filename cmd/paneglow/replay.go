package main

import (
	"bufio"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"paneglow/anim/unit"
	"paneglow/controller/attach"
	"paneglow/controller/blackbox"
	"paneglow/controller/link"
	"paneglow/render/play"
	"paneglow/render/prove"
	"paneglow/render/table"
)

func (a *app) logCommand() *cobra.Command {
	f := attach.Target{Reads: true}
	var out, names string
	c := &cobra.Command{
		Use:   "log [LOG]",
		Short: "read a controller's black box, and say what it tells",
		Long: `Log reads the black box of a controller (--to) or of a file that was read before,
and prints a line for every record: its number, the refresh with which it came into
force, and what it says. The show goes on meanwhile.`,
		Example: "  paneglow log --to /dev/ttyACM0 -o box.log" +
			"\n  paneglow log box.log --names panel.table",
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			l, err := a.takeLog(&f, args, out)
			if err != nil {
				return err
			}
			var n blackbox.Names
			if names != "" {
				if n.Table, err = readTable(names); err != nil {
					return err
				}
			}
			return l.List(a.out, n)
		},
	}
	f.Flags(c.Flags())
	c.Flags().StringVarP(&out, "output", "o", "", "write what was read to this file")
	c.Flags().StringVar(&names, "names", "", "the table that played, for the names of its states, clips and loads")
	return c
}

// takeLog reads a log from where it is.
func (a *app) takeLog(f *attach.Target, args []string, out string) (*blackbox.Log, error) {
	switch {
	case len(args) > 1 || len(args) == 1 && f.To != "":
		return nil, usageError{errors.New("one log at a time: name a file, or a controller with --to")}
	case len(args) == 1 && out != "":
		return nil, usageError{errors.New("-o is for what a controller gives: this log is a file already")}
	case len(args) == 1:
		return readLog(args[0])
	}
	ctx, stop := attach.UntilInterrupted()
	defer stop()
	w, err := f.Connect(ctx, link.Options{})
	if err != nil {
		return nil, err
	}
	defer w.Close()
	l, err := blackbox.Fetch(ctx, w.Conn, w.Is, time.Now)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", w.Target, err)
	}
	if out != "" {
		if err := writeFile(out, l.Write); err != nil {
			return nil, err
		}
	}
	return l, nil
}

func readLog(path string) (*blackbox.Log, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	l, err := blackbox.Read(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w; paneglow log --to DEVICE -o FILE writes one", path, err)
	}
	return l, nil
}

type replayFlags struct {
	at, out, view, machine string
	refresh                int64
	run                    int
	length                 unit.Time
}

func (a *app) replayCommand() *cobra.Command {
	f := replayFlags{run: -1}
	c := &cobra.Command{
		Use:   "replay LOG SHOW|TABLE",
		Short: "make the refreshes again that a machine showed, out of its black box",
		Long: `Replay plays the show or table that the machine played, with what its black box wrote
down, and gives the refreshes of a moment code for code: a line each with their number,
state, clip, frame and current, and the bytes of every data line.

A moment is a refresh (--refresh), or a time (--at): "14:03:20" or "Mon 14:03:20" by the
panel's own clock, the last time that it was so late; "2026-11-29T14:03:20Z" by the clock
of the computer that read the log. Runs are the beginnings of the player in the log, from
0; the last one unless --run says otherwise.

What people saw is drawn with --view glass, or --view bare for the LEDs without it: -o
FILE.png for the moment, with --for a FILE.png, .apng or .gif that moves. A table wants
--machine for that. Without --view the codes are given: -o FILE.txt, or a FILE.png with a
row for every refresh and a column for every pixel, red, green and blue as they are.`,
		Example: "  paneglow log --to /dev/ttyACM0 -o box.log && paneglow replay box.log my-panel --at 14:03 --view glass -o seen.png",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return usageError{fmt.Errorf("replay wants a log and the show or table that played, and got %d arguments", len(args))}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.replay(args[0], args[1], &f, cmd.Flags().Changed("refresh"), cmd.Flags().Changed("for"))
		},
	}
	fl := c.Flags()
	fl.StringVar(&f.at, "at", "", "the moment, as a time")
	fl.Int64Var(&f.refresh, "refresh", 0, "the moment, as a refresh's number, from 1")
	fl.IntVar(&f.run, "run", f.run, "which beginning of the player (default: the last)")
	fl.Var(&f.length, "for", `how long, such as "3 s" (default: one refresh)`)
	fl.StringVarP(&f.out, "output", "o", "", "a file: .txt or .png of the codes, .png, .apng or .gif of a view")
	fl.StringVar(&f.view, "view", "codes", "codes; glass: the panel as it was seen by night; bare: its LEDs")
	fl.StringVar(&f.machine, "machine", "", "the machine's file: of another machine than the show's, or of the table")
	return c
}

// mostRows is the height of a picture, and mostLines what is printed.
const mostRows = 20_000

// sound looks at the command line alone.
func (f *replayFlags) sound(logPath, showPath string, byRefresh, forAWhile bool) error {
	ext := strings.ToLower(filepath.Ext(f.out))
	codes := f.view == "codes"
	switch {
	case byRefresh == (f.at != ""):
		return usageError{errors.New("say when: either --at TIME or --refresh N")}
	case byRefresh && (f.refresh < 1 || f.refresh > math.MaxUint32):
		return usageError{fmt.Errorf("--refresh %d: refreshes are counted from 1", f.refresh)}
	case forAWhile && f.length <= 0:
		return usageError{errors.New("--for wants a time above 0, such as \"3 s\"")}
	case !codes && f.view != "glass" && f.view != "bare":
		return usageError{fmt.Errorf("no view %q: use codes, glass or bare", f.view)}
	case codes && f.out != "" && ext != ".txt" && ext != ".png":
		return usageError{fmt.Errorf("%s: replay writes .txt and .png, and with --view glass or bare .png, .apng and .gif", f.out)}
	case !codes && ext != ".png" && ext != ".apng" && ext != ".gif":
		return usageError{fmt.Errorf("--view %s draws: name a file with -o that ends in .png, .apng or .gif", f.view)}
	case !codes && ext != ".png" && !forAWhile:
		return usageError{fmt.Errorf("%s is for animations: add --for \"3 s\", or end the name in .png", f.out)}
	case f.out != "" && (samePath(f.out, logPath) || samePath(f.out, showPath) || samePath(f.out, f.machine)):
		return usageError{fmt.Errorf("%s is what replay reads: name another file", f.out)}
	case f.at != "" && f.run >= 0:
		return usageError{errors.New("--at finds its run by itself: leave out --run")}
	}
	return nil
}

func (a *app) replay(logPath, showPath string, f *replayFlags, byRefresh, forAWhile bool) error {
	if err := f.sound(logPath, showPath, byRefresh, forAWhile); err != nil {
		return err
	}
	l, err := readLog(logPath)
	if err != nil {
		return err
	}
	played, err := a.played(showPath, f)
	if err != nil {
		return err
	}
	t := played.table
	if l.Panel != t.PanelSum() {
		return fmt.Errorf("%s was written by panel %08x, %s is for panel %08x: take the show or table that was exported for it", logPath, l.Panel, showPath, t.PanelSum())
	}
	spans := l.Spans()
	run, from := f.run, uint32(f.refresh)
	if f.at != "" {
		if run, from, err = l.At(spans, t, f.at); err != nil {
			return fmt.Errorf("%s: %w", logPath, err)
		}
	}
	s, err := blackbox.Find(spans, t, run, from)
	if err != nil {
		return fmt.Errorf("%s: %w", logPath, err)
	}
	if t, err = played.as(s); err != nil {
		return err
	}
	n := int64(1)
	if forAWhile {
		rate := int64(t.FPS) * int64(max(s.PerFrame, 1))
		n = max(1, int64(f.length)/1000*rate/1_000_000)
	}
	if n > mostRows {
		return usageError{fmt.Errorf("--for %v gives %d refreshes, at most %d are made", f.length, n, mostRows)}
	}
	if last := int64(from) + n - 1; last > int64(s.To) {
		return fmt.Errorf("%s: refreshes %d to %d of run %d: the log is exact up to refresh %d only, for %s; shorten --for", logPath, from, last, s.Run, s.To, s.Why)
	}
	p, err := s.Play(t, from)
	if err != nil {
		if errors.Is(err, blackbox.ErrTable) {
			err = fmt.Errorf("%w; %s", err, played.fix)
		}
		return fmt.Errorf("%s: %w", logPath, err)
	}
	again, err := latchedAgain(p, t, int(n))
	if err != nil {
		return fmt.Errorf("%s: %w", logPath, err)
	}
	again.when = func(i int) string {
		if when := s.Time(spans, t, from+uint32(i)); when != "" {
			return ", " + when + " by its own clock"
		}
		return ""
	}
	switch ext := strings.ToLower(filepath.Ext(f.out)); {
	case f.view != "codes":
		err = a.drawSeen(played, again, f, ext, forAWhile, max(1, s.PerFrame))
	case ext == ".png":
		var img image.Image
		if img, err = codePicture(t, again.codes); err == nil {
			err = writeFile(f.out, func(w io.Writer) error { return png.Encode(w, img) })
		}
	case ext == ".txt":
		err = writeFile(f.out, func(w io.Writer) error { _, err := io.WriteString(w, again.said); return err })
	default:
		fmt.Fprintf(a.err, "- refresh %d of run %d%s\n", from, s.Run, again.when(0))
		b := bufio.NewWriter(a.out)
		b.WriteString(again.said)
		return b.Flush()
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%s: refreshes %d to %d of run %d%s, exact\n", f.out, from, int64(from)+n-1, s.Run, again.when(0))
	return nil
}

// refreshes are some that were made again.
type refreshes struct {
	codes   [][]uint8 // of each, in data order
	latched []play.Latched
	dead    [][]int // pixels that show nothing then
	first   uint32  // the first one's number
	said    string  // a line of each
	when    func(i int) string
}

// latchedAgain makes refreshes.
func latchedAgain(p *blackbox.Player, t *table.Table, n int) (*refreshes, error) {
	r := &refreshes{first: p.Number()}
	var b strings.Builder
	for range n {
		number := p.Number()
		dst := make([]uint8, t.Channels())
		l, err := p.Next(dst)
		if err != nil {
			return nil, err
		}
		r.codes, r.latched, r.dead = append(r.codes, dst), append(r.latched, l), append(r.dead, slices.Clone(p.Dead()))
		fmt.Fprintf(&b, "%d %s %d mA", number, refreshWords(t, &l), prove.Milli(l.Current))
		for _, line := range p.Wires(dst) {
			fmt.Fprintf(&b, " %x", line)
		}
		b.WriteByte('\n')
	}
	r.said = b.String()
	return r, nil
}

func refreshWords(t *table.Table, l *play.Latched) string {
	shown := "no clip"
	if l.Clip != table.None {
		shown = fmt.Sprintf("%s frame %d", t.Clips[l.Clip].Name, l.Frame)
		if l.Frame < 0 {
			shown = t.Clips[l.Clip].Name + ", another picture for it"
		}
	}
	if !l.Sent {
		shown += ", kept"
	}
	return fmt.Sprintf("%s: %s,", t.States[l.State].Name, shown)
}

// codePicture has a row for every refresh and a column for every pixel.
func codePicture(t *table.Table, rows [][]uint8) (image.Image, error) {
	for i := range t.Strips {
		if p := &t.Parts[t.Strips[i].Part]; p.Dies != 3 {
			return nil, fmt.Errorf("strip %s has %d dies a pixel, a picture three: write .txt", t.Strips[i].Name, p.Dies)
		}
	}
	img := image.NewNRGBA(image.Rect(0, 0, t.Pixels(), len(rows)))
	for y, row := range rows {
		for x := range t.Pixels() {
			img.SetNRGBA(x, y, color.NRGBA{row[3*x], row[3*x+1], row[3*x+2], 255})
		}
	}
	return img, nil
}
