package show

import (
	"fmt"
	"slices"

	"paneglow/anim/finding"
)

// SetPart writes one value of a part, as TOML: "order", "data.latch", "data.gap" and
// the like. The key must stand in the file already, or in a table there ("data.gap"
// in data = { ... }), to which it is then added.
func SetPart(file string, src []byte, part, key, value string) ([]byte, error) {
	m, list := ParseMachine(file, src)
	p := m.Part(part)
	if p == nil {
		return nil, unreadable(list, finding.At(Pos{File: file}, finding.Error, "machine.unknown_part", fmt.Sprintf("there is no part %q", part), suggest(part, m.partNames())))
	}
	at, ok := p.Keys[key]
	if !ok {
		return nil, finding.At(p.Pos, finding.Error, "show.replace", fmt.Sprintf("part %q has no %s", part, key), fmt.Sprintf("write %s = %s", key, value))
	}
	if string(src[at.Start:at.End]) == value {
		return src, nil
	}
	return Replace(src, at, value)
}

// SetReel writes that another reel begins at a pixel of a strip: a stretch from
// there to the next one or to the strip's end, whose white is still to be matched.
// Stretches that are there stay; one that holds the pixel is left alone, and that
// is an error.
func SetReel(file string, src []byte, strip string, from int) ([]byte, error) {
	s, err := stripIn(file, src, strip)
	if err != nil {
		return nil, err
	}
	if from < 1 || from >= s.Pixels {
		return nil, finding.At(s.Pos, finding.Error, "show.out_of_range", fmt.Sprintf("a reel from pixel %d of strip %q, which has %d", from, strip, s.Pixels), "it begins at pixel 1 or later")
	}
	if i := slices.IndexFunc(s.Stretches, func(x Stretch) bool { return from >= x.From && from <= x.To }); i >= 0 {
		return nil, finding.At(s.Keys.At("stretches", s.Pos), finding.Error, "show.replace", fmt.Sprintf("pixel %d of strip %q is in a stretch already, from %d to %d", from, strip, s.Stretches[i].From, s.Stretches[i].To), "change that one by hand")
	}
	to := s.Pixels - 1
	for _, x := range s.Stretches {
		if x.From > from {
			to = min(to, x.From-1)
		}
	}
	entry := fmt.Sprintf("{ from = %d, to = %d, white = [1, 1, 1] }", from, to)
	at, ok := s.Keys["stretches"]
	if !ok || len(s.Stretches) == 0 {
		return setKey(src, s.Keys, s.Pos, "stretches", "["+entry+"]", "pixels")
	}
	list := string(src[at.Start:at.End])
	if list[len(list)-1] != ']' {
		return nil, odd(at)
	}
	return Replace(src, at, list[:len(list)-1]+", "+entry+"]")
}
