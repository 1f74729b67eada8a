package wiring

import (
	"fmt"
	"math"
)

// Lap is what the player latches while the machine is in one state, and what
// other loads draw from each supply meanwhile.
type Lap struct {
	State, Clip string
	Frames      [][]uint8
	Loads       []float64 // A, by supply; nil: none
}

// Peak is the largest of a value over many frames, and the frame it was in.
type Peak struct {
	Value float64
	Frame int
}

func (p *Peak) see(v float64, frame int) {
	if v > p.Value {
		p.Value, p.Frame = v, frame
	}
}

// Survey is what any number of frames ask of a panel's copper.
type Survey struct {
	Frames  int
	Low     Low // the pixel that lacks most, of all frames
	At      Place
	Frame   int
	Codes   []uint8   // of that frame
	Starved int       // the most pixels of one frame below their least volts
	Points  []float64 // the least V at each of the panel's points
	Feeds   []Peak    // A in each feed
	Hops    []Peak    // V between the two grounds of each hop, whichever is higher
	Loss    Peak      // W lost in copper and in the supply's output
	Watts   float64   // mean of what the lights take from the supply, their losses included
	Lost    float64   // mean loss, W
}

// Surveyor looks at frames one after the other. One serves one goroutine.
type Surveyor struct {
	p    *Panel
	s    *Solver
	draw []int64
	out  Survey
}

// Surveyor makes one for frames during which other loads draw so many amperes
// from each supply; nil: none.
func (p *Panel) Surveyor(loads []float64) *Surveyor {
	v := &Surveyor{p: p, s: p.Circuit.Solver(), draw: make([]int64, p.Circuit.Pixels())}
	v.s.others(loads)
	v.out = Survey{Low: Low{Volts: math.Inf(1), Pixel: -1}, Feeds: make([]Peak, len(p.Machine.Feeds)), Hops: make([]Peak, len(p.Hops)), Points: make([]float64, len(p.Points))}
	for i := range v.out.Points {
		v.out.Points[i] = math.Inf(1)
	}
	return v
}

// See takes a frame of codes and its number. It allocates nothing after the first
// one, unless pixels starve.
func (v *Surveyor) See(codes []uint8, frame int) error {
	v.p.Draws.Of(v.draw, codes)
	if err := v.s.Solve(v.draw); err != nil {
		return fmt.Errorf("frame %d: %w", frame, err)
	}
	o := &v.out
	o.Frames++
	if low := v.s.Lowest(); o.Low.Pixel < 0 || low.Margin() < o.Low.Margin() {
		o.Low, o.Frame = low, frame
		o.At = v.p.Circuit.Place(low.Pixel)
		o.Codes = append(o.Codes[:0], codes...)
	}
	o.Starved = max(o.Starved, v.s.Starved())
	for i := range o.Feeds {
		o.Feeds[i].see(v.s.Feed(i), frame)
	}
	for i, h := range v.p.Hops {
		lift := v.s.Minus(h.To)
		if h.From.Strip >= 0 {
			lift -= v.s.Minus(h.From)
		}
		o.Hops[i].see(math.Abs(lift), frame)
	}
	for i, at := range v.p.Points {
		o.Points[i] = math.Min(o.Points[i], v.s.At(at))
	}
	loss := v.s.Loss()
	o.Loss.see(loss, frame)
	o.Lost += loss
	o.Watts += loss + v.s.Light()
	return nil
}

// Survey is what was seen so far.
func (v *Surveyor) Survey() Survey {
	o := v.out
	if o.Frames > 0 {
		o.Lost /= float64(o.Frames)
		o.Watts /= float64(o.Frames)
	}
	return o
}

// Survey looks at all frames of a lap.
func (p *Panel) Survey(lap *Lap) (Survey, error) {
	v := p.Surveyor(lap.Loads)
	for f, codes := range lap.Frames {
		if err := v.See(codes, f); err != nil {
			return Survey{}, fmt.Errorf("state %q, %w", lap.State, err)
		}
	}
	return v.Survey(), nil
}

// lowest is the pixel of all laps that lacks most, in which lap and which frame,
// and the most that each feed carries.
func (p *Panel) lowest(laps []Lap) (low Low, lap, frame int, loads []float64, err error) {
	low = Low{Volts: math.Inf(1), Pixel: -1}
	loads = make([]float64, len(p.Circuit.plan.Feeds))
	s, draw := p.Circuit.Solver(), make([]int64, p.Circuit.Pixels())
	for i := range laps {
		s.others(laps[i].Loads)
		for f, codes := range laps[i].Frames {
			p.Draws.Of(draw, codes)
			if err := s.Solve(draw); err != nil {
				return low, i, f, nil, fmt.Errorf("state %q, frame %d: %w", laps[i].State, f, err)
			}
			for k := range loads {
				loads[k] = max(loads[k], s.Feed(k))
			}
			if l := s.Lowest(); low.Pixel < 0 || l.Margin() < low.Margin() {
				low, lap, frame = l, i, f
			}
		}
	}
	return low, lap, frame, loads, nil
}

// Heat is what a lap takes from the supplies for the lights, in watts, copper's
// losses included: its mean and its greatest frame; and the mean in the pixels of
// each strip.
func (p *Panel) Heat(lap *Lap) (mean, peak float64, strips []float64, err error) {
	strips = make([]float64, len(p.Layout.Strips))
	s, draw, volts := p.Circuit.Solver(), make([]int64, p.Circuit.Pixels()), make([]float64, p.Circuit.Pixels())
	for f, codes := range lap.Frames {
		p.Draws.Of(draw, codes)
		if err := s.Solve(draw); err != nil {
			return 0, 0, nil, fmt.Errorf("state %q, frame %d: %w", lap.State, f, err)
		}
		watts := s.Loss() + s.Light()
		mean += watts
		peak = math.Max(peak, watts)
		s.Volts(volts)
		for i := range strips {
			st := &p.Layout.Strips[i]
			for k := st.First; k < st.First+st.Count; k++ {
				strips[i] += volts[k] * s.Amps(k)
			}
		}
	}
	n := float64(len(lap.Frames))
	for i := range strips {
		strips[i] /= n
	}
	return mean / n, peak, strips, nil
}
