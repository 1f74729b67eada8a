// Command screenshots takes the pictures of docs/window: it opens the built window
// with the demo on displays of its own (Xvfb), brings it to each view by keys and
// clicks as a person does (xdotool), and keeps what is on the screen (ImageMagick's
// import).
//
// It ends with an error when a view does not come up, or when a picture is larger
// than the documentation should carry.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// mostBytes bounds each picture.
const mostBytes = 200_000

// a picture of the window.
type picture struct {
	name  string
	size  string // WxH
	light bool
	reach func(w *window) error // from the first frame of the first state
}

// views are chosen so that each view, both sizes and both themes are among them.
var views = []picture{
	{"turning-glass", "1280x800", false, func(w *window) error {
		return w.all(w.press("state.turning"), w.until("state", "turning"), w.pause(1500), w.still(40))
	}},
	{"color-picker", "1024x700", false, func(w *window) error {
		return w.all(w.press("state.service"), w.until("state", "service"), w.pause(4000), w.still(120), w.openColor())
	}},
	{"numbers-and-feeds", "1280x800", true, func(w *window) error {
		return w.all(w.press("state.wake"), w.until("state", "wake"), w.still(20), w.key("g"), w.until("view", "bare LEDs"), w.key("o"))
	}},
	{"adapted-night", "1024x700", false, func(w *window) error {
		return w.all(w.pause(4000), w.key("a"), w.still(60))
	}},
	{"drive", "1024x700", true, func(w *window) error {
		return w.all(w.press("state.service"), w.until("state", "service"), w.still(120), w.key("g"), w.key("g"), w.until("view", "drive"))
	}},
	{"keys", "1024x700", true, func(w *window) error {
		return w.all(w.pause(4000), w.still(20), w.key("shift+slash"))
	}},
	{"checks-error", "1024x700", false, func(w *window) error {
		return w.all(w.pause(4000), w.still(20), w.spoil(), w.told())
	}},
	{"layout", "1280x800", false, func(w *window) error {
		return w.all(w.pause(4000), w.still(20), w.key("y"), w.key("period"), w.pause(500))
	}},
	{"save-a-picture", "1024x700", true, func(w *window) error {
		return w.all(w.press("state.take"), w.until("state", "take"), w.still(10), w.press("picture"))
	}},
}

func main() {
	preview := flag.String("preview", "build/paneglow-preview", "the built window")
	show := flag.String("show", "examples/umbrella", "the show's folder")
	out := flag.String("out", "docs/window", "folder of the pictures")
	only := flag.String("only", "", "take just the picture of this name")
	flag.Parse()
	if err := run(*preview, *show, *out, *only); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

func run(preview, show, out, only string) error {
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	screens := map[string]*screen{}
	defer func() {
		for _, s := range screens {
			s.end()
		}
	}()
	taken := 0
	for _, v := range views {
		if only != "" && v.name != only {
			continue
		}
		s := screens[v.size]
		if s == nil {
			var err error
			if s, err = newScreen(v.size); err != nil {
				return err
			}
			screens[v.size] = s
		}
		if err := take(s, preview, show, filepath.Join(out, v.name+".png"), v); err != nil {
			return fmt.Errorf("%s: %w", v.name, err)
		}
		taken++
	}
	if taken == 0 {
		return fmt.Errorf("there is no picture %q", only)
	}
	return nil
}

// take opens a window of its own on a copy of the show, so that one picture leaves
// nothing to the next.
func take(s *screen, preview, show, file string, v picture) error {
	dir, err := os.MkdirTemp("", "screenshots")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	copied := filepath.Join(dir, "show")
	if err := os.CopyFS(copied, os.DirFS(show)); err != nil {
		return err
	}
	wide, tall, _ := strings.Cut(v.size, "x")
	flags := []string{copied, "--forget", "--width", wide, "--height", tall, "--state", filepath.Join(dir, "state.json")}
	if v.light {
		flags = append(flags, "--light")
	}
	w, err := s.open(preview, flags, filepath.Join(dir, "state.json"), copied)
	if err != nil {
		return err
	}
	defer w.end()
	if err := v.reach(w); err != nil {
		return err
	}
	if err := w.park(); err != nil {
		return err
	}
	n, err := s.keep(file)
	if err != nil {
		return err
	}
	fmt.Printf("%s: %d bytes\n", file, n)
	if n > mostBytes {
		return fmt.Errorf("%d bytes, which is over %d", n, mostBytes)
	}
	return nil
}
