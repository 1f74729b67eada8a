package play

// Tick is a time in microseconds. It wraps; see Since.
type Tick uint32

// Since is the time from u to t in microseconds, right for up to half a turn
// (35.8 minutes) either way.
func (t Tick) Since(u Tick) int32 { return int32(t - u) }

// Kind tells events apart.
type Kind uint8

const (
	State    Kind = iota // the machine wishes to show state Index
	Value                // a value clip is to show frame Value, 0..255
	Ask                  // load Index wants to start: it may when Next has granted it
	Running              // load Index has started and runs
	Stopped              // load Index stands still
	Loads                // exactly the loads of Mask run; all others stand still
	Level                // the show's lightness in per mille, 0..1000; never above the timetable's
	Host                 // a sign of life of the host
	Clock                // it is second Value of day Index (0 Monday .. 6 Sunday)
	Service              // somebody is inside: Value 1 a work light, 2 a test of every pixel, 0 gone again
	Dead                 // pixel Index has no address any more (Value 1), or again (0)
	Verified             // clip Index was found whole: it may be shown from the next refresh on
	Lost                 // clip Index cannot be unpacked: until its checksum is found right again the strips hold what they show
	Damaged              // clip Index is broken for good: the show's rest, or the built-in still, stands in for it
)

// Event is something that only the machine knows.
type Event struct {
	Kind  Kind
	Index int    // a state, a load, a day, a pixel or a clip
	Value int    // a value, a level, a second of the day or a mode
	Mask  uint32 // of loads, bit i for load i
}

// Latched describes one refresh.
type Latched struct {
	At       Tick    // when its data begins to go out
	State    int     // as wished
	Clip     int     // on show, another one than the state's while finishing
	Frame    int     // of the clip; -1 while another picture stands in for it
	Fade     int     // of a crossfade: weight of the clip in 1/256, else 256
	Current  int64   // microamperes of the codes on the strips, idle included, rounded up; of all supplies together
	Budget   int64   // in force, microamperes, of all supplies that feed pixels together
	Gain     uint32  // applied to the codes, k/65536: level, budget and slew together; the least of the supplies'
	Sent     bool    // false: the strips keep what they show, and so does dst
	Over     bool    // idle alone breaks the budget: the panel is dark
	Climbing bool    // the slew holds the light back
	Supplies []Drawn // each supply by itself; valid until the next call
	Granted  []int   // loads that may start once this refresh has latched; valid until the next call
}

// Rising tells whether some supply's budget is still below a limit.
func (l *Latched) Rising(limits []int64) bool {
	for i, d := range l.Supplies {
		if d.Budget < limits[i] {
			return true
		}
	}
	return false
}

// Drawn is what the strips draw from one supply, and its budget in force, in
// microamperes.
type Drawn struct{ Current, Budget int64 }

// Sink takes refreshes: a window, a recorder, a real strip.
type Sink interface {
	// Latch takes one refresh's codes in data order; they are only valid during
	// the call.
	Latch(codes []uint8, at Tick) error
	Close() error
}
