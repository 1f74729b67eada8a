package show

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/unit"
)

// The functions of this file change where strips and feeds are in a machine
// file's bytes. Comments, spaces and order stay, and so does every value that is
// the same as before. src is not modified. The machine may hold findings (a path
// that does not fit its pixels is what one is mending), but the file must be
// TOML. When something goes wrong nothing is changed and the error says why.

// SetPath writes a strip's path. Coordinates that stay, and points that only
// change places, keep the words they were written in.
func SetPath(file string, src []byte, strip string, path [][2]unit.Length) ([]byte, error) {
	s, err := stripIn(file, src, strip)
	if err != nil {
		return nil, err
	}
	at, ok := s.Keys["path"]
	if !ok || len(s.Path) == 0 {
		return nil, finding.At(s.Pos, finding.Error, "show.replace", fmt.Sprintf("strip %q has no path that can be read", strip), `write path = [["70 mm", "60 mm"], ["70 mm", "1326 mm"]] first`)
	}
	if len(path) == 0 {
		return nil, finding.At(at, finding.Error, "show.replace", fmt.Sprintf("the path of strip %q would have no point", strip), "keep one point at least")
	}
	place := func(i int) Pos { return s.Keys[fmt.Sprintf("path[%d]", i)] }
	words := func(i int) string { return string(src[place(i).Start:place(i).End]) }
	write := func(p [2]unit.Length) string {
		if i := slices.Index(s.Path, p); i >= 0 {
			return words(i)
		}
		return fmt.Sprintf("[%s, %s]", Quote(Millimetres(p[0])), Quote(Millimetres(p[1])))
	}
	text := src
	if len(path) == len(s.Path) {
		// From the end: places before a change stay where they are.
		for i := len(path) - 1; i >= 0; i-- {
			switch was := s.Path[i]; {
			case was == path[i]:
			case slices.Contains(s.Path, path[i]):
				text = splice(text, place(i).Start, place(i).End, write(path[i]))
			default:
				for j := 1; j >= 0; j-- {
					if c := s.Keys[fmt.Sprintf("path[%d][%d]", i, j)]; was[j] != path[i][j] {
						text = splice(text, c.Start, c.End, Quote(Millimetres(path[i][j])))
					}
				}
			}
		}
	} else {
		same, tail := 0, 0
		for same < min(len(path), len(s.Path)) && path[same] == s.Path[same] {
			same++
		}
		for tail < min(len(path), len(s.Path))-same && path[len(path)-1-tail] == s.Path[len(s.Path)-1-tail] {
			tail++
		}
		var more []string
		for _, p := range path[same : len(path)-tail] {
			more = append(more, write(p))
		}
		list, end := strings.Join(more, ", "), len(s.Path)-tail // of the old points that go
		switch {
		case len(more) > 0 && end > same:
			text = splice(src, place(same).Start, place(end-1).End, list)
		case len(more) > 0 && same > 0:
			text = splice(src, place(same-1).End, place(same-1).End, ", "+list)
		case len(more) > 0:
			text = splice(src, place(0).Start, place(0).Start, list+", ")
		case same > 0:
			text = splice(src, place(same-1).End, place(end-1).End, "")
		default:
			text = splice(src, place(0).Start, place(end).Start, "")
		}
	}
	// The file's rule for one value, over the whole path.
	return Replace(src, at, string(text[at.Start:at.End+len(text)-len(src)]))
}

// SetPixels writes how many pixels a strip has.
func SetPixels(file string, src []byte, strip string, pixels int) ([]byte, error) {
	s, err := stripIn(file, src, strip)
	if err != nil {
		return nil, err
	}
	if pixels < 1 || pixels > MaxPixels {
		return nil, finding.At(s.Keys.At("pixels", s.Pos), finding.Error, "show.out_of_range", fmt.Sprintf("%d pixels are outside 1 to %d", pixels, MaxPixels), "write pixels = 77")
	}
	return setKey(src, s.Keys, s.Pos, "pixels", strconv.Itoa(pixels), "path")
}

// SetMarks writes which pixels of a strip are hidden or missing; key is that word.
func SetMarks(file string, src []byte, strip, key string, pixels []int) ([]byte, error) {
	if key != "hidden" && key != "missing" {
		return nil, fmt.Errorf("pixels are hidden or missing, not %q", key)
	}
	s, err := stripIn(file, src, strip)
	if err != nil {
		return nil, err
	}
	pixels = slices.Clone(pixels)
	slices.Sort(pixels)
	var words []string
	for _, n := range slices.Compact(pixels) {
		words = append(words, strconv.Itoa(n))
	}
	return setKey(src, s.Keys, s.Pos, key, "["+strings.Join(words, ", ")+"]", "pixels")
}

// AddStrip writes one more strip below the last one and puts its name at the end
// of a data line. Name, Part, Path and Pixels of s are written.
func AddStrip(file string, src []byte, line string, s Strip) ([]byte, error) {
	m, list := ParseMachine(file, src)
	li := slices.IndexFunc(m.Lines, func(l Line) bool { return l.Name == line })
	if li < 0 || len(m.Strips) == 0 {
		return nil, unreadable(list, finding.At(Pos{File: file}, finding.Error, "machine.unknown_line", fmt.Sprintf("there is no data line %q", line), suggest(line, names(m.Lines, func(l *Line) string { return l.Name }))))
	}
	last := &m.Strips[len(m.Strips)-1]
	switch {
	case m.Strip(s.Name) != nil:
		return nil, finding.At(m.Strip(s.Name).Pos, finding.Error, "show.duplicate_name", fmt.Sprintf("there is a strip %q already", s.Name), "give it a name of its own")
	case !nameForm.MatchString(s.Name):
		return nil, finding.At(Pos{File: file}, finding.Error, "show.bad_name", fmt.Sprintf("%q is no name for a strip", s.Name), "use 1 to 32 of the letters a to z, digits, - and _")
	case m.Part(s.Part) == nil:
		return nil, finding.At(Pos{File: file}, finding.Error, "machine.unknown_part", fmt.Sprintf("there is no part %q", s.Part), suggest(s.Part, m.partNames()))
	}
	var points []string
	for _, p := range s.Path {
		points = append(points, fmt.Sprintf("[%s, %s]", Quote(Millimetres(p[0])), Quote(Millimetres(p[1]))))
	}
	block := fmt.Sprintf("[[strip]]\nname = %s\npart = %s\npath = [%s]\npixels = %d\n", Quote(s.Name), Quote(s.Part), strings.Join(points, ", "), s.Pixels)
	out, err := addBlock(src, lastOf(src, last.Pos, last.Keys), last.Pos, block)
	if err != nil {
		return nil, err
	}
	m2, list := ParseMachine(file, out)
	if len(m2.Strips) != len(m.Strips)+1 || li >= len(m2.Lines) {
		return nil, unreadable(list, odd(last.Pos))
	}
	l := &m2.Lines[li]
	at := l.Keys[fmt.Sprintf("strips[%d]", len(l.Strips)-1)]
	if at.End == 0 {
		return nil, odd(l.Pos)
	}
	out = splice(out, at.End, at.End, ", "+Quote(s.Name))
	after, _ := ParseMachine(file, out)
	if len(after.Strips) != len(m.Strips)+1 {
		return nil, odd(last.Pos)
	}
	after.Strips = after.Strips[:len(m.Strips)]
	after.Lines[li].Strips = after.Lines[li].Strips[:len(m.Lines[li].Strips)]
	if !sameMachine(m, after) {
		return nil, odd(last.Pos)
	}
	return out, nil
}

// RemoveStrip takes a strip out of the file, with its place on its data line and
// with the feeds and joints that are soldered to it. Comments outside of these
// tables stay.
func RemoveStrip(file string, src []byte, strip string) ([]byte, error) {
	s, err := stripIn(file, src, strip)
	if err != nil {
		return nil, err
	}
	before, _ := ParseMachine(file, src)
	want, _ := ParseMachine(file, src)
	out := src
	// From behind, one at a time: places move with each.
	for i := len(before.Joints) - 1; i >= 0; i-- {
		if j := &before.Joints[i]; j.From.Strip == strip || j.To.Strip == strip {
			now, _ := ParseMachine(file, out)
			out = cutBlock(out, now.Joints[i].Pos, now.Joints[i].Keys)
			want.Joints = slices.Delete(want.Joints, i, i+1)
		}
	}
	for i := len(before.Feeds) - 1; i >= 0; i-- {
		if before.Feeds[i].Strip == strip {
			now, _ := ParseMachine(file, out)
			out = cutBlock(out, now.Feeds[i].Pos, now.Feeds[i].Keys)
			want.Feeds = slices.Delete(want.Feeds, i, i+1)
		}
	}
	i := slices.IndexFunc(before.Strips, func(o Strip) bool { return o.Name == strip })
	now, _ := ParseMachine(file, out)
	out = cutBlock(out, now.Strips[i].Pos, now.Strips[i].Keys)
	want.Strips = slices.Delete(want.Strips, i, i+1)
	for li := range before.Lines {
		l := &before.Lines[li]
		at := slices.Index(l.Strips, strip)
		if at < 0 {
			continue
		}
		if len(l.Strips) == 1 {
			return nil, finding.At(l.Keys.At("strips", l.Pos), finding.Error, "show.replace", fmt.Sprintf("line %q would carry no strip", l.Name), "draw the strip that comes instead first, or remove the line by hand")
		}
		now, _ := ParseMachine(file, out)
		place := func(k int) Pos { return now.Lines[li].Keys[fmt.Sprintf("strips[%d]", k)] }
		if at > 0 {
			out = splice(out, place(at-1).End, place(at).End, "")
		} else {
			out = splice(out, place(0).Start, place(1).Start, "")
		}
		want.Lines[li].Strips = slices.Delete(slices.Clone(l.Strips), at, at+1)
	}
	after, list := ParseMachine(file, out)
	if !sameMachine(want, after) {
		return nil, unreadable(list, odd(s.Pos))
	}
	return out, nil
}

// Millimetres writes a length as files hold places: in mm, to a hundredth.
func Millimetres(x unit.Length) string {
	v := math.Round(float64(x)*100) / 100
	if v == 0 {
		v = 0 // not "-0"
	}
	return strconv.FormatFloat(v, 'f', -1, 64) + " mm"
}

var nameForm = regexp.MustCompile(`^[A-Za-z0-9_-]{1,32}$`)

func stripIn(file string, src []byte, strip string) (*Strip, error) {
	m, list := ParseMachine(file, src)
	if s := m.Strip(strip); s != nil {
		return s, nil
	}
	return nil, unreadable(list, finding.At(Pos{File: file}, finding.Error, "machine.unknown_strip", fmt.Sprintf("there is no strip %q", strip), suggest(strip, m.stripNames())))
}

// unreadable prefers the file's own error to one that follows from it.
func unreadable(list finding.List, err error) error {
	for _, f := range list {
		if f.Code == "show.syntax" {
			return f
		}
	}
	return err
}

func odd(at Pos) error {
	return finding.At(at, finding.Error, "show.replace", "the file would mean something else besides this change", "write it by hand: the tables of strips, feeds and lines each under a header of their own are understood")
}

// setKey exchanges a value, or adds a line for it below another key's.
func setKey(src []byte, keys Keys, table Pos, key, value, below string) ([]byte, error) {
	if at, ok := keys[key]; ok {
		if string(src[at.Start:at.End]) == value {
			return src, nil
		}
		return Replace(src, at, value)
	}
	at, ok := keys[below]
	if !ok {
		return nil, finding.At(table, finding.Error, "show.replace", fmt.Sprintf("there is no %s below which %s could stand", below, key), "write "+key+" = "+value)
	}
	out := addLine(src, at, key+" = "+value)
	if _, tr := grow(table.File, out); tr.list.Err() != nil {
		return nil, fmt.Errorf("%s cannot be added: %w", key, tr.list.Err())
	}
	return out, nil
}

// setPlace exchanges a strip and a pixel, each only where it is another.
func setPlace(src []byte, keys Keys, table Pos, key string, was, to Place) ([]byte, error) {
	strip, pixel := keys[key+"[0]"], keys[key+"[1]"]
	if strip.End == 0 || pixel.End == 0 {
		return nil, finding.At(keys.At(key, table), finding.Error, "show.replace", key+" cannot be read", fmt.Sprintf("write %s = [%s, %d]", key, Quote(to.Strip), to.Pixel))
	}
	out := src
	var err error
	if was.Pixel != to.Pixel {
		if out, err = Replace(out, pixel, strconv.Itoa(to.Pixel)); err != nil {
			return nil, err
		}
	}
	if was.Strip != to.Strip {
		return Replace(out, strip, Quote(to.Strip))
	}
	return out, nil
}

func splice(src []byte, from, to int, text string) []byte {
	out := make([]byte, 0, len(src)+len(text)-(to-from))
	out = append(out, src[:from]...)
	out = append(out, text...)
	return append(out, src[to:]...)
}

// lastOf is where a table's last value ends.
func lastOf(src []byte, table Pos, keys Keys) int {
	end := table.End
	for _, p := range keys {
		end = max(end, p.End)
	}
	if i := bytes.IndexByte(src[end:], '\n'); i >= 0 {
		return end + i + 1
	}
	return len(src)
}

// addBlock puts a table of its own below the line that ends at end.
func addBlock(src []byte, end int, table Pos, block string) ([]byte, error) {
	if !bytes.HasPrefix(bytes.TrimLeft(src[lineStart(src, table.Start):], " \t"), []byte("[[")) {
		return nil, odd(table)
	}
	nl := "\n"
	if bytes.Contains(src, []byte("\r\n")) {
		nl = "\r\n"
		block = strings.ReplaceAll(block, "\n", nl)
	}
	if end > 0 && src[end-1] != '\n' {
		block = nl + block
	}
	return splice(src, end, end, nl+block), nil
}

// cutBlock takes a table out: from its header to the line of its last value, and
// the blank lines below.
func cutBlock(src []byte, table Pos, keys Keys) []byte {
	end := lastOf(src, table, keys)
	for end < len(src) {
		line := src[end:]
		if i := bytes.IndexByte(line, '\n'); i >= 0 {
			line = line[:i+1]
		}
		if len(bytes.TrimSpace(line)) > 0 {
			break
		}
		end += len(line)
	}
	return splice(src, lineStart(src, table.Start), end, "")
}

func lineStart(src []byte, at int) int { return bytes.LastIndexByte(src[:at], '\n') + 1 }
