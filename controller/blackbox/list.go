package blackbox

import (
	"fmt"
	"io"
	"strings"

	"paneglow/controller/link"
	"paneglow/render/table"
)

// Names are what the words of a listing come from. The zero value says numbers.
type Names struct{ Table *table.Table }

func (n Names) state(i uint8) string {
	if n.Table != nil && int(i) < len(n.Table.States) && n.Table.States[i].Name != "" {
		return n.Table.States[i].Name
	}
	return fmt.Sprint("state ", i)
}

func (n Names) clip(i int) string {
	if n.Table != nil && i < len(n.Table.Clips) && n.Table.Clips[i].Name != "" {
		return n.Table.Clips[i].Name
	}
	return fmt.Sprint("clip ", i)
}

func (n Names) clips(b []byte) string {
	var s []string
	for _, i := range bits(b) {
		s = append(s, n.clip(i))
	}
	if s == nil {
		return "none"
	}
	return strings.Join(s, ", ")
}

func (n Names) loads(mask uint32) string {
	var s []string
	for i := range 16 {
		switch {
		case mask>>i&1 == 0:
		case n.Table != nil && i < len(n.Table.Loads) && n.Table.Loads[i].Name != "":
			s = append(s, n.Table.Loads[i].Name)
		default:
			s = append(s, fmt.Sprint("load ", i))
		}
	}
	if s == nil {
		return "none"
	}
	return strings.Join(s, ", ")
}

var days = [...]string{"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"}

func mille(k uint32) string { return fmt.Sprintf("%.1f %%", float64(k)*100/65536) }

func second(s uint32) string { return fmt.Sprintf("%02d:%02d:%02d", s/3600, s/60%60, s%60) }

// words are a record, for people.
func (n Names) words(r *Record) string {
	b := r.Body
	say := fmt.Sprintf
	switch r.Kind {
	case Unit:
		return say("a unit of the store begins; %d starts and %d brown-outs so far", r.u32(0), r.u32(4))
	case Start:
		return say("the controller starts, start %d, brown-outs %d; why: %s", r.u32(1), r.u32(5), link.ResetWords(b[0]))
	case Begin:
		return say("the player begins, %d refreshes a frame, with the table installed as number %d, seed %d", b[4], r.u32(5), r.u32(0))
	case Table:
		if b[8] != 0 {
			return say("check point: table %08x, level %s of the light", r.u32(0), mille(r.u24(5)))
		}
		return say("table %08x plays", r.u32(0))
	case State:
		how := map[uint8]string{0: "cut", 1: "crossfade", 2: "finish", 3: "holding what showed", 255: "at the start"}[b[1]]
		by := map[uint8]string{0: "as wished", 1: "after its longest stay", 2: "for a silent host"}[b[2]]
		shows := "nothing yet"
		if b[3] != 255 {
			shows = n.clip(int(b[3]))
		}
		return say("%s, %s, %s; on show: %s", n.state(b[0]), how, by, shows)
	case Facts:
		return say("loads known: %s; running: %s; starting: %s; waiting: %s", n.loads(r.u16(0)), n.loads(r.u16(2)), n.loads(r.u16(4)), n.loads(r.u16(6)))
	case Value:
		at, v := r.Values()
		s := say("value %d", v[0])
		for i := 1; i < len(at); i++ {
			s += say(", %d with refresh %d", v[i], at[i])
		}
		return s
	case Level:
		return say("level %s of the light; told %s, planned %s", mille(r.u24(0)), mille(r.u24(3)), mille(r.u24(6)))
	case Service:
		return map[uint8]string{0: "nobody is inside any more", 1: "somebody is inside: a work light", 2: "somebody is inside: the test"}[b[0]]
	case Clock:
		return say("it is %s %s", days[b[0]%7], second(r.u32(1)))
	case Dead:
		var px []string
		for i := 1; i < 9; i += 2 {
			if k := r.u16(i); k != 0xffff {
				px = append(px, fmt.Sprint(k))
			}
		}
		if px == nil {
			px = []string{"none"}
		}
		return say("dead pixels: %s", strings.Join(px, ", "))
	case Verified:
		return say("clips known to be whole: %s", n.clips(b[:8]))
	case Lost:
		if b[1] != 0 {
			return say("%s could not be unpacked; its bytes were found right again", n.clip(int(b[0])))
		}
		return say("%s could not be unpacked", n.clip(int(b[0])))
	case Damaged:
		return say("clips known to be damaged: %s", n.clips(b[:8]))
	case News:
		return "a still state went out once more"
	case Counts:
		return say("%v %d, %v %d, %v %d, %v %d, %v %d", link.BadFrames, r.u16(0), link.SentAgain, r.u16(2), link.HeldFrames, r.u16(4),
			link.HostSilences, b[6], link.LateFrames, r.u16(7))
	case Volts:
		return say("supply %d fell to %.2f V", b[0], float64(r.u16(1))/1000)
	case Left:
		return say("%d records were left out from here on; the next is of refresh %d", r.u16(0), r.u32(2))
	case Trouble:
		return map[uint8]string{0: "the table plays again", 1: "there is no table", 2: "the table is of another version", 3: "the table's header is damaged",
			4: "the table is for another panel", 5: "the table asks for more than the firmware holds"}[b[0]]
	case Stream:
		return map[bool]string{true: "frames come from a computer", false: "the table plays again"}[b[0] != 0]
	case Place:
		return say("check point: frame %d, value %d", r.u32(0), b[8])
	case Budget:
		return say("check point: budget of supply %d %.3f A", b[8], float64(int32(r.u32(0)))/1e6)
	case Check:
		return say("check point: %s shows %s; loads known: %s; running: %s; starting: %s", n.state(b[0]), n.clip(int(b[1])), n.loads(r.u16(3)), n.loads(r.u16(5)), n.loads(r.u16(7)))
	}
	return r.Kind.String()
}

// List writes a line for every record: its number, the refresh with which it came
// into force, and what it says. What cannot be read is told where it stands.
func (l *Log) List(w io.Writer, n Names) error {
	for i := range l.Entries {
		e := &l.Entries[i]
		if i > 0 && e.Number != l.Entries[i-1].Number+1 {
			if _, err := fmt.Fprintf(w, "%8s %10s  records %d to %d are gone\n", "", "", l.Entries[i-1].Number+1, e.Number-1); err != nil {
				return err
			}
		}
		if e.Blank() {
			continue
		}
		refresh, said := "", "torn or damaged"
		if r, ok := Parse(e.Number, e.Bytes); ok {
			if r.Kind != Unit && r.Refresh > 0 {
				refresh = fmt.Sprint(r.Refresh)
			}
			said = n.words(&r)
			if said == "" {
				said = fmt.Sprintf("%v %x", r.Kind, r.Body)
			}
		}
		if _, err := fmt.Fprintf(w, "%8d %10s  %s\n", e.Number, refresh, said); err != nil {
			return err
		}
	}
	return nil
}
