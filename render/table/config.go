package table

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"paneglow/anim/show"
	"paneglow/render/power"
)

// Config is what firmware holds of a panel beside its wiring and currents.
type Config struct {
	Work    int      // bytes of memory that unpacking may use; at least the table's
	Dead    int      // pixels that may be marked dead in the field, 0..64
	Still   [4]uint8 // codes of red, green, blue, white of the built-in still
	Service uint8    // code of the pictures of the service state
	Only    *Needs   // what the firmware carries; nil: everything
	Keys    int      // clips of kind keys; with none their code is left out

	// Together: where there are several data lines, up to eight, they go out side by
	// side and not in turn; what goes out is worked out before, in memory of its own.
	Together bool
}

// Needs is what a show asks of its player beyond what every show does. Firmware that
// leaves some out is smaller, and refuses a table that asks for it.
type Needs struct {
	Timetable bool // levels by the time of day
	Slew      bool // a supply whose light rises slowly
	Fades     bool // crossfades
	Lots      bool // clips that begin by lot
	Values    bool // clips that follow a value
	Plain     bool // clips of kinds still and raw
	Loads     int  // most loads
	Service   bool // pictures for somebody inside
}

// Needs gives what a table asks for; service pictures no table can do without.
func (t *Table) Needs() *Needs {
	n := &Needs{Timetable: len(t.Levels) > 0, Loads: len(t.Loads), Service: true}
	for _, s := range t.Supplies() {
		n.Slew = n.Slew || s.Slew > 0
	}
	for i := range t.States {
		n.Fades = n.Fades || t.States[i].HandOver == show.Crossfade
	}
	for i := range t.Clips {
		n.Lots = n.Lots || t.Clips[i].Random
		n.Plain = n.Plain || t.Clips[i].Kind == Still || t.Clips[i].Kind == Raw
		n.Values = n.Values || t.Clips[i].Value
	}
	return n
}

// laws are the panel's laws of current, one bit each, as the player numbers them.
func laws(t *Show) int {
	set := 0
	for i := range t.Parts {
		set |= 1 << t.Parts[i].Law
	}
	return set
}

// DefaultConfig is a dim neutral still, a work light of a quarter, and room for
// sixteen dead pixels. The codes are common practice, nothing measured: every
// refresh of theirs is counted and held inside the budget like any other.
func DefaultConfig(work int) Config {
	return Config{Work: work, Dead: 16, Still: [4]uint8{6, 6, 6, 0}, Service: 64}
}

// check refuses what the player's memory cannot hold.
func (c *Config) check(t *Show) error {
	missing := 0
	for i := range t.Strips {
		missing += len(t.Strips[i].Missing)
	}
	full := int64(0)
	for i := range t.Strips {
		p := &t.Parts[t.Strips[i].Part]
		full += int64(t.Strips[i].Pixels) * (p.Idle + p.Channel[0] + p.Channel[1] + p.Channel[2] + p.Channel[3] + p.Ceiling)
	}
	switch {
	case full > MostCurrent:
		return fmt.Errorf("table: the panel draws %s at full white, the player counts up to %s: %w", power.Amps(full), power.Amps(MostCurrent), ErrLimit)
	case t.Pixels() == 0:
		return fmt.Errorf("table: a panel without pixels needs no player: %w", ErrData)
	case c.Work < 0 || c.Work > MostWork:
		return fmt.Errorf("table: %d bytes of work memory, at most %d: %w", c.Work, MostWork, ErrLimit)
	case c.Dead < 0 || c.Dead > 64:
		return fmt.Errorf("table: room for %d dead pixels, at most 64: %w", c.Dead, ErrLimit)
	case missing+c.Dead > 254:
		return fmt.Errorf("table: %d missing and %d dead pixels, the player counts at most 254 together: %w", missing, c.Dead, ErrLimit)
	case c.Together && len(t.Lines) > 8:
		return fmt.Errorf("table: %d data lines side by side, a port has 8 pins: %w", len(t.Lines), ErrLimit)
	case t.Channels() > 65_535:
		return fmt.Errorf("table: frames of %d bytes, the player holds at most 65535: %w", t.Channels(), ErrLimit)
	}
	return nil
}

// WriteConfig writes panel_config.h: the panel as the player's firmware is built
// for it. Currents are microamperes per pixel at code 255, times nanoseconds.
func WriteConfig(w io.Writer, t *Show, c Config) error {
	if err := c.check(t); err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	define := func(name string, format string, args ...any) {
		fmt.Fprintf(out, "#define %s %s\n", name, fmt.Sprintf(format, args...))
	}
	fmt.Fprintf(out, "/* The panel that this firmware is built for; written by paneglow export.\n * A table made for another panel is refused. */\n#ifndef PANEL_CONFIG_H\n#define PANEL_CONFIG_H\n\n")
	define("PG_PANEL", "0x%08xul", t.PanelSum())
	define("PG_PIXELS", "%d", t.Pixels())
	define("PG_CHANNELS", "%d", t.Channels())
	define("PG_STRIPS", "%d", len(t.Strips))
	define("PG_PARTS", "%d", len(t.Parts))
	define("PG_LINES", "%d", len(t.Lines))
	define("PG_SUPPLIES", "%d", 1+len(t.Further))
	if longest, _ := c.rows(t); longest > 0 {
		define("PG_LONGEST", "%d", longest)
		fmt.Fprintf(out, "#ifndef PG_TOGETHER /* the port's pins that the lines stand on, in ascending order */\n#define PG_TOGETHER 0x%02x\n#endif\n", 1<<len(t.Lines)-1)
	}
	define("PG_WORK", "%d", c.Work)
	define("PG_DEAD", "%d", c.Dead)
	fmt.Fprintf(out, "#ifndef PG_KEYS_CLIPS\n#define PG_KEYS_CLIPS %d\n#endif\n", c.Keys)
	for i, name := range []string{"RED", "GREEN", "BLUE", "WHITE"} {
		define("PG_STILL_"+name, "%d", c.Still[i])
	}
	define("PG_SERVICE_CODE", "%d", c.Service)

	bit, latch, gap, dies := int64(0), int64(0), int64(0), 3
	for i := range t.Parts {
		p := &t.Parts[i]
		bit, latch = max(bit, p.Bit), max(latch, p.Latch)
		if i == 0 || p.Gap < gap {
			gap = p.Gap
		}
		dies = max(dies, p.Dies)
	}
	fmt.Fprintf(out, "\n/* The slowest part's bit, the longest latch, the shortest gap, nanoseconds. */\n")
	define("PG_BIT_NS", "%dul", bit)
	define("PG_LATCH_NS", "%dul", latch)
	define("PG_GAP_NS", "%dul", gap)
	define("PG_DIES", "%d", dies)

	fmt.Fprintf(out, "\n/* dies, order, law, idle, {red, green, blue, white}, ceiling */\n#define PG_PART_LIST")
	for i := range t.Parts {
		p := &t.Parts[i]
		order := 0
		for k := range p.Order {
			order |= strings.IndexByte("RGBW", p.Order[k]) << (2 * k)
		}
		fmt.Fprintf(out, " \\\n\t{ %d, 0x%02x, %d, %dul, { %dul, %dul, %dul, %dul }, %dul }%s", p.Dies, order, p.Law, p.Idle,
			p.Channel[0], p.Channel[1], p.Channel[2], p.Channel[3], p.Ceiling, comma(i, len(t.Parts)))
	}
	fmt.Fprintf(out, "\n\n/* pixels, part, line, supply */\n#define PG_STRIP_LIST")
	first, missing := 0, []string{}
	for i := range t.Strips {
		st := &t.Strips[i]
		fmt.Fprintf(out, " \\\n\t{ %d, %d, %d, %d }%s", st.Pixels, st.Part, st.Line, st.Supply, comma(i, len(t.Strips)))
		for _, px := range st.Missing {
			missing = append(missing, fmt.Sprint(first+px))
		}
		first += st.Pixels
	}
	fmt.Fprintf(out, "\n\n/* pixels without an address, of the whole panel */\n")
	define("PG_MISSING", "%d", len(missing))
	define("PG_MISSING_LIST", "%s", strings.Join(missing, ", "))
	fmt.Fprintf(out, "\n/* Laws of current on the panel: 1 sum, 2 largest, 4 ceiling. */\n")
	define("PG_WITH_LAWS", "%d", laws(t))
	if n := c.Only; n != nil {
		fmt.Fprintf(out, "\n/* What the show asks for; a show that asks for more is refused. PG_WHOLE carries everything. */\n#ifndef PG_WHOLE\n")
		for _, f := range []struct {
			name string
			on   bool
		}{{"TIMETABLE", n.Timetable}, {"SLEW", n.Slew}, {"FADES", n.Fades}, {"LOTS", n.Lots}, {"VALUES", n.Values}, {"PLAIN", n.Plain}, {"SERVICE", n.Service}} {
			on := 0
			if f.on {
				on = 1
			}
			define("PG_WITH_"+f.name, "%d", on)
		}
		define("PG_MOST_LOADS", "%d", n.Loads)
		fmt.Fprint(out, "#endif\n")
	}
	fmt.Fprint(out, "\n#endif\n")
	return out.Flush()
}

func comma(i, n int) string {
	if i < n-1 {
		return ","
	}
	return ""
}
