package commission

import (
	"context"
	"fmt"
	"math"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/render/power"
	"paneglow/render/power/wiring"
)

// Off is how far a reading may be from what was predicted before the machine is not
// done: 5 %. A hand-held meter shows tens of milliamperes: one such step is always
// allowed.
const (
	Off       = 0.05
	meterStep = 10_000 // microamperes
)

// Reading is one comparison.
type Reading struct {
	What      string
	Predicted float64 // amperes or volts; of a load what the file allows for
	Read      float64
	Unit      string
	Bad       bool
	Load      bool // of a load: less than the file allows for is safe
	None      bool // nothing was measured: a load's reading of 0
}

// Verdict says what comes of it.
func (r *Reading) Verdict() string {
	switch {
	case r.None:
		return "not measured"
	case r.Load && r.Bad:
		return "more than the file allows for"
	case r.Load && r.Off() < -Off-1e-9:
		return "less than the file allows for, which is safe"
	case r.Bad:
		return "off by more than 5 %"
	}
	return "good"
}

// Off is the reading's difference as a share of the prediction.
func (r *Reading) Off() float64 {
	if r.Predicted == 0 {
		return 0
	}
	return r.Read/r.Predicted - 1
}

// Power shows known frames, waits for every load to be started, takes the readings
// of an ammeter in the supply's lead and of a voltmeter at the worst pixel, and
// compares. budget is what the panel may draw meanwhile, microamperes. What is off
// by more than 5 % stands in the findings as an error: then the machine is not done.
func (r *Run) Power(ctx context.Context, budget int64) ([]Reading, error) {
	if len(r.m.Supplies()) > 1 {
		return nil, fmt.Errorf("the machine has %d supplies: measure each by itself, with the strips of the others unplugged, in a file of their own", len(r.m.Supplies()))
	}
	exact := *r.m // what is expected, without the margin for strips that draw more
	exact.Parts = append([]show.Part(nil), r.m.Parts...)
	for i := range exact.Parts {
		exact.Parts[i].Spread = 0
	}
	meter, err := power.NewMeter(&exact, r.lay.Layout)
	if err != nil {
		return nil, err
	}
	bound, err := power.NewMeter(r.m, r.lay.Layout)
	if err != nil {
		return nil, err
	}
	panel, err := wiring.NewPanel(&exact, r.lay.Layout)
	if err != nil {
		return nil, err
	}
	var out []Reading
	compare := func(what, unit string, predicted, read float64, step float64) {
		x := Reading{What: what, Predicted: predicted, Read: read, Unit: unit}
		x.Bad = math.Abs(x.Off()) > Off && math.Abs(read-predicted) > step
		out = append(out, x)
		if x.Bad {
			fix := "measure currents with fit current, and correct the part in the machine's file"
			if unit == "V" {
				fix = "look at the wires' cross-sections and lengths in the machine's file, and at hot or loose joints"
			}
			r.found(finding.Error, "commission.power", what, fix, "%.3g %s were read, %.3g are predicted: %+.0f %%", read, unit, predicted, 100*x.Off())
		} else {
			r.Say("%s: %.3g %s, predicted %.3g", what, read, unit, predicted)
		}
	}
	for _, f := range []struct {
		name   string
		colors []int
	}{{"dark", nil}, {"red", []int{0}}, {"green", []int{1}}, {"blue", []int{2}}, {"white", []int{3}}} {
		code, codes := r.frame(f.colors, budget, bound)
		if f.colors != nil && code == 0 {
			return out, fmt.Errorf("not one code of %s fits into %s, the least budget of the show that plays: measure with a show whose only state has no loads", f.name, power.Amps(budget))
		}
		if err := r.Panel.Show(ctx, codes); err != nil {
			return out, err
		}
		what := f.name
		if f.colors != nil {
			what = fmt.Sprintf("%s at code %d", f.name, code)
		}
		ma, err := r.number(ctx, Amps, "", fmt.Sprintf("%s: what does the ammeter in the panel's lead read, all loads standing still?", what), "mA", 0, 1_000_000)
		if err != nil {
			return out, err
		}
		compare(what, "A", float64(meter.Current(codes))/1e6, float64(ma)/1000, float64(meterStep)/1e6)
		if f.name != "white" {
			continue
		}
		v := panel.Surveyor(make([]float64, len(r.m.Supplies())))
		if err := v.See(codes, 0); err != nil {
			return out, err
		}
		low := v.Survey().Low
		if low.Pixel < 0 {
			continue
		}
		p := &r.lay.Pixels[low.Pixel]
		s := &r.lay.Strips[p.Strip]
		mv, err := r.number(ctx, Volts, s.Name, fmt.Sprintf("%s: what does a voltmeter read between plus and minus of strip %q at %s?", what, s.Name, r.spotText(p.Strip, p.Index)), "mV", 0, 60_000)
		if err != nil {
			return out, err
		}
		compare(fmt.Sprintf("%s, lowest volts, strip %q", what, s.Name), "V", low.Volts, float64(mv)/1000, 0.01)
	}
	if err := r.dark().show(ctx); err != nil {
		return out, err
	}
	for i := range r.m.Loads {
		x, err := r.load(ctx, &r.m.Loads[i])
		if out = append(out, x...); err != nil {
			return out, err
		}
	}
	return out, nil
}

// frame lights all pixels in a color, as brightly as the budget allows.
func (r *Run) frame(colors []int, budget int64, bound *power.Meter) (code int, codes []uint8) {
	fill := func(code int) []uint8 {
		p := r.dark()
		for i := range r.lay.Pixels {
			for _, c := range colors {
				p.at(i, c, uint8(code))
			}
		}
		return p.codes
	}
	if len(colors) == 0 {
		return 0, fill(0)
	}
	// A current never falls with the code.
	code, _ = bisect(0, 255, func(n int) (bool, error) { return bound.Bound(fill(n)) <= budget, nil })
	return code, fill(code)
}

// load holds one load's currents against the file: more than it says is an error,
// less is safe, and nothing is no measurement.
func (r *Run) load(ctx context.Context, l *show.Load) (out []Reading, err error) {
	run, start := power.LoadCurrents(l)
	for _, x := range []struct {
		what, ask string
		file      int64
	}{
		{"load " + l.Name + ", starting", "the panel is dark. Start %q by the machine's own controls: what is the highest reading of its lead while it starts? 0 when the meter is too slow to tell", start},
		{"load " + l.Name + ", running", "%q runs, as hard as it ever has to: what does the ammeter in its lead read? 0 when you cannot tell", run},
	} {
		ma, err := r.number(ctx, Amps, "", fmt.Sprintf(x.ask, l.Name), "mA", 0, 1_000_000)
		if err != nil {
			return out, err
		}
		read := int64(ma) * 1000
		is := Reading{What: x.what, Predicted: float64(x.file) / 1e6, Read: float64(ma) / 1000, Unit: "A", Load: true, None: ma == 0 && x.file > 0}
		is.Bad = float64(read) > float64(x.file)*(1+Off) && read-x.file > meterStep
		out = append(out, is)
		switch {
		case is.Bad:
			r.found(finding.Error, "commission.load", x.what, fmt.Sprintf("correct the load in the machine's file, export and upload again: the budget of every state counts on it; a meter that is slow reads less than the start really takes (file: %s)", power.Amps(x.file)),
				"it takes %s, the file allows for %s", power.Amps(read), power.Amps(x.file))
		case is.None:
			r.found(finding.Warning, "commission.not_measured", x.what, "measure it with a clamp meter that holds its highest reading, or keep what the load's data sheet gives",
				"nothing was measured; the file allows for %s, and the budget of every state counts on it", power.Amps(x.file))
		default:
			r.Say("%s: %s, the file allows for %s", x.what, power.Amps(read), power.Amps(x.file))
		}
	}
	return out, nil
}
