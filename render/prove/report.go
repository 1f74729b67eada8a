package prove

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"paneglow/anim/finding"
	"paneglow/render/panel"
	"paneglow/render/play"
	"paneglow/render/table"
)

// The JSON of `check --json`. Currents are milliamperes at the supply, idle
// included, rounded up.
type Report struct {
	Show       string            `json:"show"`
	Machine    string            `json:"machine"`
	Pixels     int               `json:"pixels"`
	Clips      []ClipReport      `json:"clips"`
	States     []StateReport     `json:"states"`
	Controller *ControllerReport `json:"controller,omitempty"`
	Panel      *PanelReport      `json:"panel,omitempty"`
	Refreshes  int               `json:"refreshes_checked"`
	Fullest    float64           `json:"fullest_share"` // of its budget that the fullest refresh draws
	FullestAt  string            `json:"fullest_at"`
	Findings   []finding.Finding `json:"findings"`
}

type ClipReport struct {
	Name    string  `json:"name"`
	Frames  int     `json:"frames"`
	FPS     int     `json:"fps"`
	Wanted  int64   `json:"wanted_mA"`
	Peak    int64   `json:"peak_mA"`
	Gain    float64 `json:"gain_min"`
	Mean    float64 `json:"gain_mean"`
	Bytes   int     `json:"bytes"`
	Kind    string  `json:"kind"`
	Flashes int     `json:"flashes_per_s"`
	// Caps is what each cap policy would leave of the light, slew aside.
	Caps map[string]LightLeft `json:"caps,omitempty"`
}

// LightLeft is a share of a clip's light: on average over its frames, and of
// the frame that loses most.
type LightLeft struct {
	Mean  float64 `json:"mean"`
	Least float64 `json:"least"`
}

type StateReport struct {
	Name   string `json:"name"`
	Clip   string `json:"clip"`
	Budget int64  `json:"budget_mA"`
	Peak   int64  `json:"peak_mA"`
	// Lowest is the voltage of the pixel that lacks most, in the state and on the
	// way into it.
	Lowest float64 `json:"lowest_V,omitempty"`
	// Supplies are all of them where there are several; budget_mA and peak_mA are
	// of the first then.
	Supplies []SupplyReport `json:"supplies,omitempty"`
}

type SupplyReport struct {
	Name   string `json:"name"`
	Budget int64  `json:"budget_mA"`
	Peak   int64  `json:"peak_mA"`
}

type ControllerReport struct {
	Flash  int     `json:"flash_bytes"`          // of the table without its notes
	RAM    int     `json:"ram_bytes"`            // of the player, its buffers and its stack
	Frame  int64   `json:"frame_us"`             // one refresh on the wire, latch included
	IRQOff float64 `json:"irq_off_us"`           // longest time without interrupts: a byte on the wire
	Lost   int64   `json:"bytes_lost_per_frame"` // of a serial line that never pauses, while a refresh goes out
	Grant  float64 `json:"grant_ms"`             // worst wait from a load's question to its grant
}

type PanelReport struct {
	Ripple []RippleReport `json:"ripple"`
}

// RippleReport is how strongly a strip's LEDs show through the glass:
// (max-min)/(max+min) along it with all lit alike.
type RippleReport struct {
	Strip     string  `json:"strip"`
	Michelson float64 `json:"michelson"`
}

// Milli is microamperes as milliamperes, rounded up.
func Milli(ua int64) int64 {
	if ua >= 0 {
		return (ua + 999) / 1000
	}
	return ua / 1000
}

// Examine plays the table, counts flashes, and fills the report as far as the
// project came.
func (p *Project) Examine() *Report {
	r := &Report{Clips: []ClipReport{}, States: []StateReport{}}
	if p.Show != nil {
		r.Show = p.Show.File
	}
	if p.Machine != nil {
		r.Machine = p.Machine.File
	}
	if p.On != nil {
		r.Pixels = len(p.On.Layout.Pixels)
	}
	if p.Table != nil && p.Found.Err() == nil {
		p.wire()
		pr, laps := p.Prove()
		p.Laps = make([]*Latched, len(p.Table.States))
		for i, l := range laps {
			p.Laps[i] = l
		}
		lowest := p.measureWires(laps)
		r.Refreshes, r.Fullest, r.FullestAt = pr.refreshes, pr.closest, pr.where
		p.Flashes = p.flashes(laps)
		for i, c := range p.Codes {
			_, wanted := c.WantedPeak()
			_, peak := c.Peak()
			left := c.Light()
			x := ClipReport{
				Name: p.Clips[i].Name, Frames: c.Frames, FPS: p.Show.FPS, Wanted: Milli(wanted), Peak: Milli(peak),
				Gain: left.Least, Mean: left.Mean, Bytes: p.Report.Clips[i].Bytes, Kind: p.Report.Clips[i].Kind.String(), Flashes: p.Flashes[i],
			}
			if p.Compare {
				x.Caps = map[string]LightLeft{}
				for k, word := range CapWords {
					x.Caps[word] = LightLeft(c.Costs[k])
				}
			}
			r.Clips = append(r.Clips, x)
		}
		for i := range p.Table.States {
			r.States = append(r.States, p.stateReport(i, laps[i], lowest[i]))
		}
		r.Controller = p.controller()
		r.Panel = p.glass()
	}
	r.Findings = p.Found
	if r.Findings == nil {
		r.Findings = []finding.Finding{}
	}
	return r
}

// CapWords are the cap policies, as in the file, by show.Cap.
var CapWords = [...]string{"show", "clip", "moment"}

// StateReport is one state's budget and what its lap draws, supply by supply.
func (p *Project) stateReport(i int, lap *Latched, lowest float64) StateReport {
	s := &p.Table.States[i]
	out := StateReport{Name: s.Name, Clip: p.Table.Clips[s.Clip].Name, Lowest: lowest}
	for k, supply := range p.Table.Supplies() {
		var peak int64
		if lap != nil {
			for _, codes := range lap.Frames {
				peak = max(peak, p.Table.Meter().Of(k).Current(codes))
			}
		}
		if k == 0 {
			out.Budget, out.Peak = Milli(s.Limit(0)), Milli(peak)
			supply.Name = p.Machine.Supply.Name
		}
		if len(p.Table.Further) > 0 {
			out.Supplies = append(out.Supplies, SupplyReport{supply.Name, Milli(s.Limit(k)), Milli(peak)})
		}
	}
	return out
}

// slimmer says what would make the table fit: the fewest of the largest clips that
// together take twice what is too much, so that half of them would do.
func (p *Project) slimmer(over int64) string {
	clips := slices.Clone(p.Report.Clips)
	slices.SortFunc(clips, func(a, b table.ClipReport) int { return b.Bytes - a.Bytes })
	var names []string
	sum := int64(0)
	for i := 0; i < len(clips) && (i == 0 || sum < 2*over); i++ {
		names = append(names, fmt.Sprintf("%s (%d bytes)", clips[i].Name, clips[i].Bytes))
		sum += int64(clips[i].Bytes)
	}
	return fmt.Sprintf("%d bytes less: shorten or calm %s, let them keep = \"smooth\", lower fps so that more of each frame's time is left to unpack it, or try --pack best", over, strings.Join(names, ", "))
}

// controller compares the table with the controller's memory and time.
func (p *Project) controller() *ControllerReport {
	c := &p.Machine.Controller
	t := p.Table
	m := p.Config().Memory(&t.Show)
	rows := int64(0)
	if c.Clock > 0 {
		rows = table.RowCycles(&t.Show, c.Together) * 1_000_000 / int64(c.Clock)
	}
	out := &ControllerReport{Flash: t.NotesOffset, RAM: m.Sum(), Frame: play.WireTime(&t.Show, c.Together), Grant: float64(play.GrantWorst(t, 1, c.Together)+rows+p.late()) / 1000}
	out.IRQOff, out.Lost = serial(t, out.Frame, c.Baud)
	if room := int64(c.Flash) - int64(c.MachineFlash); c.Flash > 0 && int64(out.Flash) > room {
		p.Add(finding.Error, "controller.flash", c.Pos.String(), p.slimmer(int64(out.Flash)-room),
			"the table takes %d bytes; flash %v less machine_flash %v leaves %d", out.Flash, c.Flash, c.MachineFlash, room)
	}
	if room := int64(c.RAM) - int64(c.MachineRAM); c.RAM > 0 && int64(m.Sum()) > room {
		p.Add(finding.Warning, "controller.ram", c.Pos.String(), "take fewer pixels or a larger controller; export --fit shows what takes how much",
			"the player takes %d bytes, %d of them for unpacking; ram %v less machine_ram %v leaves %d", m.Sum(), m.Work, c.RAM, c.MachineRAM, room)
	}
	if period := int64(1_000_000 / p.Show.FPS); out.Frame+rows > period {
		before, fix := "", fmt.Sprintf("lower fps to %d", 1_000_000/(out.Frame+rows))
		if rows > 0 {
			before = fmt.Sprintf(" and %d us of work before it", rows)
		} else {
			fix += ", or share the strips between data lines that go out together"
		}
		p.Add(finding.Error, "controller.frame_time", p.Show.File, fix, "one refresh takes %d us on the wire%s, over the %d us of a frame at %d fps", out.Frame, before, period, p.Show.FPS)
	}
	if most, gap := routine(&t.Show); most < receiverCycles && c.Baud > 0 {
		p.Add(finding.Warning, "controller.gap", p.Machine.File,
			"measure what the strip forgives (paneglow commission timing) and write it as the part's data.gap; or send nothing while a refresh goes out",
			"in a pause of %d ns an interrupt may take %d cycles, and the receiver of the serial line takes %d: every byte that comes during a refresh would stop it, to be sent again", gap, most, receiverCycles)
	}
	if delay := LineDelay(c.Baud); c.Answers > 0 && time.Duration(c.Answers) < delay {
		p.Add(finding.Warning, "link.second_adapter", c.Keys.At("answers", c.Pos).String(),
			"give the panel a serial adapter of its own: the controller has a second receiver, and the machine's line stays as it is; or raise baud",
			"a byte of the machine's own may wait for %d ms where the panel's frames share its line at %d baud, and answers allows for %v (docs/link.md, section 2)", delay.Milliseconds(), c.Baud, c.Answers)
	}
	return out
}

// receiverCycles is what the port's receiver takes at most, PG_SERIAL_CYCLES.
const receiverCycles = 57

// routine is how many cycles of 16 MHz an interrupt may take in a pause between the
// bytes of a refresh, PG_ROUTINE_MOST of the port, and the shortest gap that it comes from.
func routine(t *table.Show) (cycles, gap int64) {
	bit := int64(0)
	for i := range t.Parts {
		bit = max(bit, t.Parts[i].Bit)
		if gap == 0 || t.Parts[i].Gap < gap {
			gap = t.Parts[i].Gap
		}
	}
	return (gap-bit)*16/1000 - 2, gap
}

// LineDelay is the longest that a byte of the machine's own waits on a line that the
// panel's frames share: the time of a frame of 257 bytes, and 20 ms.
func LineDelay(baud int) time.Duration {
	return 257*10*time.Second/time.Duration(max(baud, 1)) + 20*time.Millisecond
}

// Config is what the player's firmware is built with for this table.
func (p *Project) Config() table.Config {
	c := table.DefaultConfig(p.Table.Work())
	for i := range p.Table.Clips {
		if p.Table.Clips[i].Kind.Between() {
			c.Keys++
		}
	}
	c.Only = p.Table.Needs()
	c.Together = p.Machine.Controller.Together
	return c
}

// late is by how many microseconds a refresh may come late: a state that is
// entered by a crossfade just then unpacks two frames, the old clip's and the new
// one's, on the share of the processor that the machine leaves.
func (p *Project) late() int64 {
	c := &p.Machine.Controller
	most := uint32(0)
	for i := range p.Table.Clips {
		most = max(most, p.Table.Clips[i].Cycles)
	}
	if c.Clock <= 0 {
		return 0
	}
	left := int64(1_000_000) - int64(c.MachineShare)
	if left <= 0 {
		left = 1_000_000
	}
	return (2*int64(most) + table.OpeningCycles) * 1_000_000 / (int64(c.Clock) * left / 1_000_000)
}

// serial says what a refresh costs the serial line: the port lets one interrupt
// in after every byte that goes out, so interrupts wait for at most 8 bits, and
// one received byte is taken for every byte sent. A line that is faster loses the
// rest, but for the two bytes that the receiver holds by itself.
func serial(t *table.Table, frame int64, baud int) (off float64, lost int64) {
	bit := int64(0)
	for i := range t.Parts {
		bit = max(bit, t.Parts[i].Bit)
	}
	if bit == 0 {
		return 0, 0
	}
	arrive := frame * int64(baud) / 10_000_000
	served := frame * 1000 / (8 * bit)
	return float64(8*bit) / 1000, max(arrive-served-2, 0)
}

// glass measures the panel through its pane.
func (p *Project) glass() *PanelReport {
	if m := p.Memory; m != nil {
		m.mu.Lock()
		seen := m.panel
		m.mu.Unlock()
		if seen != nil {
			p.Found = append(p.Found, seen.found...)
			return seen.report
		}
	}
	g, err := panel.New(p.Machine, p.On.Layout)
	if err != nil {
		p.take(err, p.Machine.Panel.Pos.String())
		return nil
	}
	m := g.Metrics(p.Machine.Panel.Room, nil)
	found := g.Findings(p.Machine, m)
	p.Found = append(p.Found, found...)
	out := &PanelReport{Ripple: []RippleReport{}}
	for _, s := range m.Strips {
		out.Ripple = append(out.Ripple, RippleReport{s.Name, s.LEDs.Michelson})
	}
	if m := p.Memory; m != nil {
		m.mu.Lock()
		m.panel = &panelSeen{out, found}
		m.mu.Unlock()
	}
	return out
}
