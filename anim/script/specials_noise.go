package script

import (
	"math"

	"go.starlark.net/starlark"
)

// coordinates takes 1 to 3 numbers, in vectors or one by one.
func (t *tracer) coordinates(name string, args starlark.Tuple) ([]int32, bool, error) {
	all := true
	var in []*Field
	for _, a := range args {
		f, err := t.field(a)
		if err != nil {
			return nil, false, err
		}
		all = all && isNumber(a)
		in = append(in, f)
	}
	ids := parts(in)
	if len(ids) < 1 || len(ids) > 3 {
		return nil, false, wrong("arguments", "write "+name+"(x), "+name+"(x, y) or "+name+"(x, y, z)", "%s takes 1 to 3 numbers, got %d", name, len(ids))
	}
	for i := range ids {
		ids[i] = t.b.coordinate(ids[i])
	}
	return ids, all, nil
}

// number gives a plain number back where only such went in.
func (t *tracer) number(id int32, plain bool) (starlark.Value, error) {
	if v, ok := t.b.constant(id); ok && plain {
		return starlark.Float(v), t.room()
	}
	return t.one(id)
}

func (t *tracer) lattice(name string, kw []starlark.Tuple, more ...string) (field, map[string]starlark.Value, error) {
	o, err := options(name, kw, append([]string{"seed", "period"}, more...)...)
	if err != nil {
		return field{}, nil, err
	}
	own, err := wholeOption(o, "seed", 0, -maxWhole, maxWhole)
	if err != nil {
		return field{}, nil, err
	}
	period, err := wholeOption(o, "period", 0, 1, 1<<16)
	if err != nil {
		return field{}, nil, err
	}
	return field{seedFrom(t.opt.Seed, own), int32(period)}, o, nil
}

func (t *tracer) noise(l field, ids []int32) int32 {
	return t.b.put(opNoise1+op(len(ids)-1), l.imm(), ids...)
}

func noiseOf(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	l, _, err := t.lattice("noise", kw)
	if err != nil {
		return nil, err
	}
	ids, all, err := t.coordinates("noise", args)
	if err != nil {
		return nil, err
	}
	return t.number(t.noise(l, ids), all)
}

// fbmOf sums octaves of noise, each twice as fine and half as strong, divided
// by what their strengths add up to.
func fbmOf(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	l, o, err := t.lattice("fbm", kw, "octaves")
	if err != nil {
		return nil, err
	}
	n, err := wholeOption(o, "octaves", 4, 1, 8)
	if err != nil {
		return nil, err
	}
	ids, all, err := t.coordinates("fbm", args)
	if err != nil {
		return nil, err
	}
	b := t.b
	total := 2 - math.Ldexp(1, 1-int(n))
	sum := b.num(0)
	for i := range n {
		octave := field{mixBits(l.seed + uint32(i)*spreadS), l.period << i}
		at := make([]int32, len(ids))
		for k, id := range ids {
			at[k] = b.coordinate(b.mul(id, b.num(math.Ldexp(1, int(i)))))
		}
		sum = b.add(sum, b.mul(t.noise(octave, at), b.num(math.Ldexp(1, -int(i))/total)))
	}
	return t.number(sum, all)
}

func hashOf(t *tracer, th *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	o, err := options("hash", kw, "seed")
	if err != nil {
		return nil, err
	}
	own, err := wholeOption(o, "seed", 0, -maxWhole, maxWhole)
	if err != nil {
		return nil, err
	}
	ids, all, err := t.coordinates("hash", args)
	if err != nil {
		return nil, err
	}
	for _, id := range ids {
		t.doubtHash(id)
	}
	return t.number(t.b.put(opHash1+op(len(ids)-1), uint64(seedFrom(t.opt.Seed, own)), ids...), all)
}
