package main

import (
	"bufio"
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"github.com/soniakeys/quant/median"
)

// screen is a display of its own.
type screen struct {
	name   string
	server *exec.Cmd
}

func newScreen(size string) (*screen, error) {
	for program, pkg := range map[string]string{"Xvfb": "xvfb", "xdotool": "xdotool", "import": "imagemagick"} {
		if _, err := exec.LookPath(program); err != nil {
			return nil, fmt.Errorf("%s is missing: install %s", program, pkg)
		}
	}
	r, w, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	s := &screen{server: exec.Command("Xvfb", "-displayfd", "3", "-screen", "0", size+"x24", "-noreset", "-nolisten", "tcp")}
	s.server.ExtraFiles = []*os.File{w}
	err = s.server.Start()
	w.Close()
	if err != nil {
		return nil, err
	}
	line, err := bufio.NewReader(r).ReadString('\n')
	if err != nil {
		s.end()
		return nil, fmt.Errorf("the display did not start: %w", err)
	}
	s.name = ":" + strings.TrimSpace(line)
	return s, nil
}

func (s *screen) end() {
	s.server.Process.Kill()
	s.server.Wait()
}

func (s *screen) command(name string, args ...string) *exec.Cmd {
	c := exec.Command(name, args...)
	for _, e := range os.Environ() {
		if !strings.HasPrefix(e, "DISPLAY=") && !strings.HasPrefix(e, "WAYLAND_DISPLAY=") {
			c.Env = append(c.Env, e)
		}
	}
	c.Env = append(c.Env, "DISPLAY="+s.name)
	return c
}

func (s *screen) run(name string, args ...string) ([]byte, error) {
	c := s.command(name, args...)
	var errs bytes.Buffer
	c.Stderr = &errs
	out, err := c.Output()
	if err != nil {
		return nil, fmt.Errorf("%s %s: %w %s", name, strings.Join(args, " "), err, errs.Bytes())
	}
	return out, nil
}

// open starts the window and waits until it shows a proved show.
func (s *screen) open(preview string, flags []string, state, show string) (*window, error) {
	w := &window{on: s, state: state, show: show, program: s.command(preview, flags...)}
	w.program.Stderr = &w.said
	if err := w.program.Start(); err != nil {
		return nil, fmt.Errorf("%w: make preview builds the window", err)
	}
	// Its messages would drown in remarks on the display's authority file.
	err := w.wait("a show", func(r report) bool { return r.State != "" && !r.Proving })
	if err == nil {
		err = w.do("mousemove", "700", "300")
	}
	if err != nil {
		w.end()
		return nil, fmt.Errorf("%w: %s", err, w.said.Bytes())
	}
	return w, nil
}

// keep writes what is on the screen as a PNG, of 256 colors where it would be too
// large otherwise, and gives its size.
func (s *screen) keep(file string) (int, error) {
	dir, err := os.MkdirTemp("", "screen")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(dir)
	shot := filepath.Join(dir, "shot.png")
	if _, err := s.run("import", "-window", "root", shot); err != nil {
		return 0, err
	}
	b, err := os.ReadFile(shot)
	if err != nil {
		return 0, err
	}
	img, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		return 0, err
	}
	best := &png.Encoder{CompressionLevel: png.BestCompression}
	var out bytes.Buffer
	if err := best.Encode(&out, opaque(img)); err != nil {
		return 0, err
	}
	if out.Len() <= mostBytes {
		return out.Len(), write(file, out.Bytes())
	}
	out.Reset()
	palette := median.Quantizer(256).Quantize(make(color.Palette, 0, 256), img)
	p := image.NewPaletted(img.Bounds(), palette)
	draw.Draw(p, p.Rect, img, img.Bounds().Min, draw.Src)
	if err := best.Encode(&out, p); err != nil {
		return 0, err
	}
	return out.Len(), write(file, out.Bytes())
}

// opaque is a picture in 24 bits.
func opaque(img image.Image) *image.RGBA {
	out := image.NewRGBA(img.Bounds())
	draw.Draw(out, out.Rect, img, img.Bounds().Min, draw.Src)
	return out
}

// write puts a file beside and renames it.
func write(file string, b []byte) error {
	next := file + ".next"
	if err := os.WriteFile(next, b, 0o644); err != nil {
		return err
	}
	return os.Rename(next, file)
}

// patience is how long a view may take.
const patience = 30 * time.Second
