package panel

import (
	"fmt"
	"math"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/show"
)

// Findings tells what of a panel's metrics a person should know, each with a fix
// in numbers:
//
//	glass.ripple    LEDs show through: a warning above Acceptable, a note above
//	                Smooth where it is seen from the viewer's distance
//	glass.mud       a spot is wider than Muddy pixel pitches (a note)
//	glass.clear     LEDs are seen as sharp points through glass that does not
//	                scatter all light (a warning)
//	glass.contrast  by day, lit glass is less than Legible times unlit (a warning)
//	glass.glare     by night, at 0.5 m, the rating is above Glaring (a note)
//
// Strips of one pitch are told together.
func (g *Glass) Findings(m *show.Machine, x Metrics) finding.List {
	var list finding.List
	add := func(key string, sev finding.Severity, code, message, fix string) {
		f := finding.At(m.Panel.Keys.At(key, m.Panel.Pos), sev, code, message, fix)
		if f.Where == "" {
			f.Where = "panel"
		}
		list = append(list, f)
	}
	type kind struct{ led, pixel float64 }
	var kinds []kind
	members := map[kind][]int{}
	for i := range x.Strips {
		st := &g.layout.Strips[i]
		k := kind{st.LEDPitch, st.PixelPitch}
		if members[k] == nil {
			kinds = append(kinds, k)
		}
		members[k] = append(members[k], i)
	}
	for _, k := range kinds {
		// The worst strip of a pitch speaks for all.
		at := members[k][0]
		var names []string
		for _, i := range members[k] {
			names = append(names, x.Strips[i].Name)
			if x.Strips[i].LEDs.Michelson > x.Strips[at].LEDs.Michelson {
				at = i
			}
		}
		s, who := &x.Strips[at], words(names)
		r := s.LEDs
		rippled := r.Michelson > Acceptable || r.Michelson > Smooth && r.Seen
		muddy := s.Mixing > Muddy
		if !rippled && !muddy {
			continue
		}
		a := g.Advise(at)
		if rippled {
			sev, limit := finding.Warning, "the most that is mostly accepted is 10 %"
			if r.Michelson <= Acceptable {
				sev = finding.Note
				limit = "2 % is smooth at a glance" + seenFrom(m, r)
			}
			add("depth", sev, "glass.ripple", fmt.Sprintf("LEDs show through %s: light ripples by %s at %s, pitch %s, scatter %v; %s",
				who, percent(r.Michelson), mm(a.Depth), mm(a.LEDPitch), a.Scatter, limit), rippleFix(&a, r.Michelson))
		}
		if muddy {
			add("depth", finding.Note, "glass.mud", fmt.Sprintf("colours of neighbouring pixels of %s run together: a spot is %s wide, %.1f pixel pitches of %s; they stay apart up to %.1f",
				who, mm(s.Spot), s.Mixing, mm(a.PixelPitch), Muddy), mudFix(&a))
		}
	}
	if x.Clear > Points*x.Mean && x.Clear > 0 {
		add("glass.haze", finding.Warning, "glass.clear", fmt.Sprintf("%s of the light passes the glass without being scattered: every LED is seen as a sharp point of up to %.0f cd/m2 on glass of %.0f cd/m2",
			percent(1-m.Panel.Glass.Haze), x.Clear, x.Mean),
			"a sheet that scatters all light (haze = 1), or a second one behind it")
	}
	if c := x.Day; c.Ratio > 0 && c.Ratio < Legible {
		times := (Legible - 1) * c.Room / math.Max(x.Mean, 1e-9)
		add("room.day", finding.Warning, "glass.contrast", fmt.Sprintf("by day, %.0f lx, lit glass of %.0f cd/m2 is %.1f times unlit glass of %.0f cd/m2; %.0f is needed to be read",
			c.Lux, x.Mean, c.Ratio, c.Room, Legible),
			fmt.Sprintf("light %.1f times as bright, at most %.0f lx on the pane (shade it), or a reflectance of %.2g instead of %.2g",
				times, c.Lux/times, m.Panel.Glass.Reflectance/times, m.Panel.Glass.Reflectance))
	}
	if x.Glare > Glaring {
		// The rating goes with 16 times the decimal logarithm of the light.
		add("room.night", finding.Note, "glass.glare", fmt.Sprintf("by night, %.0f lx, a face 0.5 m away is dazzled: up to %.0f cd/m2, unified glare rating %.0f; the roughest work rooms allow %.0f",
			x.Night.Lux, x.Peak, x.Glare, Glaring),
			fmt.Sprintf("%.0f %% of the light by night", math.Floor(100*math.Pow(10, (Glaring-x.Glare)/16))))
	}
	return list
}

func seenFrom(m *show.Machine, r Ripple) string {
	return fmt.Sprintf("; from %v the eye sees %s", m.Panel.Room.Viewer, percent(r.Threshold))
}

// rippleFix names what would do, the depth first.
func rippleFix(a *Advice, now float64) string {
	depth, scatter, opal := a.AcceptableDepth, a.AcceptableScatter, a.OpalAcceptable
	if now <= Acceptable {
		depth, scatter, opal = a.SmoothDepth, a.SmoothScatter, a.OpalSmooth
	}
	var ways []string
	if depth > 0 {
		s := fmt.Sprintf("%s instead of %s", up(depth), mm(a.Depth))
		if now > Acceptable && a.SmoothDepth > 0 {
			s += fmt.Sprintf(" (%s to be smooth)", up(a.SmoothDepth))
		}
		if a.DeepestDepth > 0 && depth > a.DeepestDepth {
			s += ", where colours run together"
		}
		ways = append(ways, s)
	}
	if second := SecondSheet(a.Scatter, scatter); second > 0 {
		ways = append(ways, fmt.Sprintf("a second diffuser of %.0f deg (%.0f deg in all)", math.Ceil(float64(second)), math.Ceil(float64(scatter))))
	}
	if opal > 0 && opal <= a.Depth {
		ways = append(ways, "opal glass at this depth")
	} else if opal > 0 && (depth == 0 || opal < depth) {
		ways = append(ways, fmt.Sprintf("opal glass from %s on", up(opal)))
	}
	if len(ways) == 0 {
		return "LEDs closer together"
	}
	return either(ways)
}

func mudFix(a *Advice) string {
	if a.AcceptableDepth > 0 && a.AcceptableDepth <= a.DeepestDepth {
		return fmt.Sprintf("%.0f mm instead of %s (LEDs show through below %s), or patterns whose colours change over %s and more",
			math.Floor(a.DeepestDepth), mm(a.Depth), up(a.AcceptableDepth), up(2*a.FinestPixel))
	}
	return fmt.Sprintf("with this glass no depth hides the LEDs and keeps colours apart: patterns whose colours change over %s and more", up(2*a.FinestPixel))
}

func percent(v float64) string {
	if v >= 0.0995 {
		return fmt.Sprintf("%.0f %%", 100*v)
	}
	return fmt.Sprintf("%.2g %%", 100*v)
}

// mm prints a length to a tenth where that says anything.
func mm(v float64) string {
	s := fmt.Sprintf("%.1f", v)
	return strings.TrimSuffix(s, ".0") + " mm"
}

// up prints a length that is enough: the next whole millimetre.
func up(v float64) string { return fmt.Sprintf("%.0f mm", math.Ceil(v-0.05)) }

func words(names []string) string {
	if len(names) == 1 {
		return "strip " + names[0]
	}
	return "strips " + strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

func either(ways []string) string {
	if len(ways) == 1 {
		return ways[0]
	}
	return strings.Join(ways[:len(ways)-1], ", ") + ", or " + ways[len(ways)-1]
}
