package show

import "paneglow/anim/unit"

// Machine is one panel as built: the content of machine.toml as plain data.
type Machine struct {
	File   string
	Source []byte // the file's bytes, for edits in place
	Keys   Keys

	Panel      Panel
	Parts      []Part
	Lines      []Line
	Strips     []Strip
	Supply     Supply   // the first, or the only one
	Further    []Supply // more of them: common minus, each with a plus of its own
	Wiring     Wiring
	Feeds      []Feed
	Joints     []Joint
	Loads      []Load
	Sensors    []Sensor
	Controller Controller
}

// Panel is the frosted pane and the room before it.
type Panel struct {
	Pos   Pos
	Keys  Keys
	Size  [2]unit.Length // x right, y up, origin bottom left
	Depth unit.Length    // LED to glass
	Glass Glass
	Walls float64 // diffuse reflectance of the back wall behind the LEDs, 0..1; default 0: no light comes back
	Room  Room
}

// Glass is what the pane does to light.
type Glass struct {
	Scatter       unit.Angle // full width at half maximum
	Lambertian    float64    // share of the scattered light that leaves ideally diffuse, 0..1
	Transmittance [3]float64 // red, green, blue, 0..1
	Reflectance   float64    // diffuse reflectance for room light and for the box's, 0..1; default 0.15
	Haze          float64    // share of the light that is scattered at all, 0..1; default 1
}

// Room is the light the panel stands in and where it is seen from.
type Room struct {
	Day, Night unit.Illuminance
	Viewer     unit.Length
}

// Law says how a pixel's channels add up to its current.
type Law uint8

const (
	// Sum adds the channels.
	Sum Law = iota
	// Largest counts the biggest channel: dies in series.
	Largest
	// Ceiling adds the channels up to a most per LED.
	Ceiling
)

// Part is one kind of strip.
type Part struct {
	Pos          Pos
	Keys         Keys
	Name         string
	Order        string     // on the data line: a permutation of RGB or RGBW
	Pitch        unit.Pitch // of LEDs
	LEDsPerPixel int        // LEDs that one driver chip lights together
	Law          Law
	Idle         unit.Current    // per pixel, dark
	Channel      [4]unit.Current // per pixel at full duty: red, green, blue, white
	Ceiling      unit.Current    // per LED, law ceiling only
	Spread       unit.Share      // tolerance of the currents; counts at its upper end
	Fitted       bool            // currents come from ammeter readings: spread does not count
	Nominal      unit.Voltage
	Least        unit.Voltage        // below this a die is no longer driven as told
	Light        [4]Die              // red, green, blue, white, of one pixel at full duty
	HalfAngle    unit.Angle          // half-intensity half-angle; default 60 deg
	Emitter      unit.Length         // width of the emitting face; default 5 mm
	Rails        unit.LineResistance // both rails together, at 20 degC
	PlusRail     unit.LineResistance // of Rails, what the plus rail has; 0: half
	RailsCarry   unit.Current        // what a rail carries for good; 0: worked out from Rails
	Data         Data
}

// Dies is 3 or 4: the channels of a pixel.
func (p *Part) Dies() int { return len(p.Order) }

// Die is one emitter of a pixel. A coloured die has a dominant wavelength, a
// white one a colour temperature.
type Die struct {
	Wavelength  unit.Wavelength
	Temperature unit.Temperature
	Intensity   unit.Intensity // on axis
}

// Data is a part's timing on the wire.
type Data struct {
	Bit   unit.Time
	Latch unit.Time
	Gap   unit.Time      // longest pause inside a frame that the part forgives
	PWM   unit.Frequency // the strip's own modulation
}

// Line is one data line from the controller.
type Line struct {
	Pos    Pos
	Keys   Keys
	Name   string
	Driver unit.Voltage
	Strips []string // in data order
}

// Strip is one run of pixels of one part.
type Strip struct {
	Pos       Pos
	Keys      Keys
	Name      string
	Part      string
	Path      [][2]unit.Length // centre of the first LED to that of the last, in data order
	Pixels    int              // addresses, hidden and missing ones included
	Hidden    []int            // indices without a place in the picture; they take no length on the path
	Missing   []int            // indices that are dead and bridged: they keep their place and have no address
	Stretches []Stretch
	Supply    string      // that feeds it; "": the first
	Depth     unit.Length // LED to glass, where it is not the panel's; 0: the panel's
	Tilt      unit.Angle  // of the LEDs from the glass's normal, 0..90 deg
	Towards   unit.Angle  // where tilted LEDs look, on the panel: 0 to the right, 90 deg up
	PathPos   Pos
}

// Stretch is a run of pixels of another reel or a repair.
type Stretch struct {
	From, To int        // indices, To included; the file's default is the strip's end
	White    [3]float64 // factors on red, green, blue in linear light; 1 1 1 changes nothing
	Gain     float64    // factor on all of them
}

// Supply is a power supply that strips and loads share. Several have their
// minus in common and never a plus: what hangs on one never draws on another.
type Supply struct {
	Pos         Pos
	Keys        Keys
	Name        string // "" where there is one supply only
	Volts       unit.Voltage
	Amps        unit.Current  // rated, before Derate
	Share       unit.Share    // continuous loading; default 80 %
	Surge       unit.Share    // for the second a load starts; default 100 %
	Temperature unit.Celsius  // of the air around it; with Derate only
	Derate      []Derate      // its data sheet's curve, by rising temperature; empty: none
	Rise, Fall  unit.SlewRate // fastest change of the lights' current; 0: any
	RailSwitch  bool          // the strips' rail is switched on after the first black frame

	Resistance unit.Resistance // of its output; default 0: it holds its volts
	Wire       unit.Wire       // from its terminals to where the feeds fork; zero: they fork at the terminals
	Length     unit.Length     // of that wire, one way
}

// Derate is one point of a supply's curve: the share of its amps that it gives
// at a temperature. Straight lines lead from point to point.
type Derate struct {
	At    unit.Celsius
	Share unit.Share
}

// Wiring is what all copper of the machine has in common.
type Wiring struct {
	Pos         Pos
	Keys        Keys
	Temperature unit.Celsius    // of the copper when warm; default 40 degC
	Contact     unit.Resistance // of one connection; default 10 mohm
}

// Place is a pixel of a strip, where copper is soldered on.
type Place struct {
	Strip string
	Pixel int
}

// Feed is a place where the supply reaches the strips: a pair of wires, the
// plus one fused at the supply's end.
type Feed struct {
	Pos       Pos
	Keys      Keys
	Strip     string
	Pixel     int
	Wire      unit.Wire
	Length    unit.Length // one way
	Fuse      unit.Current
	Contact   unit.Resistance // of each of the four connections; default: the wiring's
	Connector unit.Current    // what its connectors carry; 0: not stated
}

// Joint is a pair of wires from a strip to the next, or the minus one alone.
type Joint struct {
	Pos       Pos
	Keys      Keys
	From, To  Place
	Wire      unit.Wire
	Length    unit.Length // one way
	Contact   unit.Resistance
	MinusOnly bool // a ground lead beside the data
}

// Load is something else on the supply: a motor, a fan, a lock.
type Load struct {
	Pos    Pos
	Keys   Keys
	Name   string
	Amps   unit.Current // running
	Start  unit.Current // while it starts, its running current included; default: running
	Stall  unit.Current // when jammed, until CutOff; 0 when it cannot jam
	Supply string       // that it hangs on; "": the first
	CutOff unit.Time
}

// Sensor is an input of the machine that must not be missed.
type Sensor struct {
	Pos   Pos
	Keys  Keys
	Name  string
	Pulse unit.Time // shortest that counts
}

// Controller is the 8-bit processor beside the strips.
type Controller struct {
	Pos          Pos
	Keys         Keys
	Clock        unit.Frequency
	Flash, RAM   unit.Size
	MachineFlash unit.Size  // used by the machine's own firmware
	MachineRAM   unit.Size  //
	MachineShare unit.Share // of the processor, for the machine's own work
	Baud         int
	Together     bool      // its data lines go out side by side, not in turn
	Answers      unit.Time // how late the machine's own bytes on that line may come; 0: as late as it takes
}
