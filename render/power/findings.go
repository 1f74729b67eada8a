package power

import (
	"fmt"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/anim/unit"
)

// CheckLoads finds states whose loads alone ask for more than a supply gives,
// whatever the lights do.
func CheckLoads(s *show.Show, m *show.Machine) finding.List {
	var found finding.List
	for i := range s.States {
		x := &s.States[i]
		all := StateBudget(s, m, i)
		for k := range all.Supplies() {
			b := all.At(k)
			if b.Limit >= 0 {
				continue
			}
			fix := "a larger supply, or loads that never run together"
			if b.Load != "" {
				fix = fmt.Sprintf("take load %q out of the state, give it a supply of its own, or take a larger one", b.Load)
			}
			found = append(found, finding.At(x.Keys.At("loads", x.Pos), finding.Error, "power.loads_over_supply",
				fmt.Sprintf("the loads of state %q alone ask for more than there is: %s leaves %s", x.Name, b.Why, Amps(b.Limit)), fix))
		}
	}
	return found
}

// BootFlash tells what strips may draw that light all white from power-up
// until the first frame, which is black, has latched: many parts do (common
// practice). Supplies whose strips are switched on later have none.
func BootFlash(m *show.Machine, meter *Meter) finding.List {
	white := make([]uint8, meter.Channels())
	for i := range white {
		white[i] = 255
	}
	var found finding.List
	for i, s := range m.Supplies() {
		of := meter.Of(i)
		flash, surge := of.Current(white), Surge(s)
		if s.RailSwitch || flash == of.Idle() {
			continue
		}
		if flash > surge {
			found = append(found, finding.At(s.Pos, finding.Warning, "power.boot_flash",
				fmt.Sprintf("at power-up strips may light all white until the first black frame has latched: %s, and the supply gives %s for a second", Amps(flash), Amps(surge)),
				"switch the strips' plus rail on after the first black frame, the data line low until then, and write rail_switch = true; or a larger supply"))
			continue
		}
		var worst *show.Load
		most := int64(0)
		for k := range m.Loads {
			if l := &m.Loads[k]; m.SupplyIndex(l.Supply) == i {
				if start, _ := starting(l); start > surge-flash && start > most {
					most, worst = start, l
				}
			}
		}
		if worst != nil {
			found = append(found, finding.At(s.Pos, finding.Note, "power.boot_flash",
				fmt.Sprintf("at power-up strips may light all white until the first black frame has latched: %s of %s, which leaves too little for load %q to start with %s", Amps(flash), Amps(surge), worst.Name, Amps(most)),
				"start no load before it is granted: the first grant comes with the first black frame; or switch the strips' rail on later and write rail_switch = true"))
		}
	}
	return found
}

// CheckSlew refuses slews that whole codes cannot keep at a frame rate; see
// Meter.LeastSlew.
func CheckSlew(m *show.Machine, meter *Meter, fps int) finding.List {
	var found finding.List
	for i, s := range m.Supplies() {
		least := unit.SlewRate(meter.Of(i).LeastSlew(fps))
		for _, x := range []struct {
			key  string
			rate unit.SlewRate
		}{{"slew.rise", s.Rise}, {"slew.fall", s.Fall}} {
			if x.rate > 0 && x.rate < least {
				tenths := (least + 99_999) / 100_000 * 100_000
				found = append(found, finding.At(s.Keys.At(x.key, s.Pos), finding.Error, "power.slew",
					fmt.Sprintf("%s of %s is less than two steps of all codes at %d frames a second, %s: the light could come to rest on its way", x.key, x.rate, fps, tenths),
					fmt.Sprintf("write %q or more, or lower fps", tenths)))
			}
		}
	}
	return found
}
