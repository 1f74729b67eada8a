package table

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
)

// Shape describes the bytes of WriteCodes; its JSON form goes beside them.
type Shape struct {
	Channels int          `json:"channels"` // bytes of a frame
	Pixels   int          `json:"pixels"`   // hidden and missing ones included
	FPS      int          `json:"fps"`
	Strips   []StripShape `json:"strips"` // in data order
	Clips    []ClipShape  `json:"clips"`
}

// StripShape is one strip's place in a frame.
type StripShape struct {
	Name    string `json:"name"`
	Pixels  int    `json:"pixels"`
	Offset  int    `json:"offset"`   // of its first channel in a frame
	Order   string `json:"channels"` // of a pixel's bytes: RGB or RGBW, whatever the wire's order
	Missing []int  `json:"missing"`
}

// ClipShape is one clip's place in the bytes.
type ClipShape struct {
	Name   string `json:"name"`
	Frames int    `json:"frames"`
	Offset int64  `json:"offset"` // of its first frame
	Bytes  int64  `json:"bytes"`
}

// WriteCodes writes the final codes of every clip, frame after frame, as plain
// bytes, and describes them in JSON on note.
func WriteCodes(w, note io.Writer, t *Table) error {
	s := Shape{Channels: t.Channels(), Pixels: t.Pixels(), FPS: t.FPS, Strips: []StripShape{}, Clips: []ClipShape{}}
	off := 0
	for i := range t.Strips {
		st := &t.Strips[i]
		dies := t.Parts[st.Part].Dies
		s.Strips = append(s.Strips, StripShape{st.Name, st.Pixels, off, "RGBW"[:dies], append([]int{}, st.Missing...)})
		off += st.Pixels * dies
	}
	out := bufio.NewWriter(w)
	frame := make([]uint8, s.Channels)
	var at int64
	for i := range t.Clips {
		c := &t.Clips[i]
		size := int64(c.Frames) * int64(s.Channels)
		s.Clips = append(s.Clips, ClipShape{c.Name, c.Frames, at, size})
		at += size
		d := t.Clip(i).Start()
		for range c.Frames {
			if err := d.Next(frame); err != nil {
				return err
			}
			if _, err := out.Write(frame); err != nil {
				return fmt.Errorf("table: writing codes: %w", err)
			}
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("table: writing codes: %w", err)
	}
	enc := json.NewEncoder(note)
	enc.SetIndent("", "  ")
	return enc.Encode(s)
}

// WriteCSV writes the current of every frame: clip, frame, seconds from the
// clip's beginning (value for a clip that follows one), milliamperes rounded up.
func WriteCSV(w io.Writer, t *Table) error {
	out := csv.NewWriter(w)
	out.Write([]string{"clip", "frame", "seconds", "current_mA"}) // its error stays until Flush
	for i := range t.Clips {
		c := &t.Clips[i]
		for f, ma := range t.Currents(i) {
			seconds := ""
			if !c.Value {
				us := int64(f) * 1_000_000 / int64(t.FPS)
				seconds = fmt.Sprintf("%d.%06d", us/1_000_000, us%1_000_000)
			}
			out.Write([]string{c.Name, strconv.Itoa(f), seconds, strconv.FormatInt(ma, 10)})
		}
	}
	out.Flush()
	return out.Error()
}
