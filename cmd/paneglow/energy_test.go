package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/examples"
	"paneglow/render/play"
	"paneglow/render/power"
	"paneglow/render/power/energy"
	"paneglow/render/prove"
	"paneglow/render/table"
)

// The timetable that energy is added up by is the one that the player keeps: asked
// through the demo's week, every quarter of an hour; and a level's frames are the
// full ones scaled.
func TestEnergyKeepsThePlayersTimetable(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, copyShow(examples.Umbrella(), dir))
	p := open(dir, "")
	p.Finish(prove.Workers(), nil)
	p.Pack(table.Quick, prove.Workers())
	require.NoError(t, p.Found.Err())
	fault := -1
	for i := range p.Table.States {
		if p.Table.States[i].Name == "fault" { // far under every budget
			fault = i
		}
	}
	hours := map[uint32]float64{}
	codes := make([]uint8, p.Table.Channels())
	full, scaled := make([]uint8, len(codes)), make([]uint8, len(codes))
	for day := range 7 {
		for quarter := range 96 {
			pl, err := play.NewPlayer(p.Table, play.Options{First: fault, KnownLoads: true, Stay: true})
			require.NoError(t, err)
			bright, err := play.NewPlayer(p.Table, play.Options{First: fault, KnownLoads: true, Stay: true})
			require.NoError(t, err)
			require.NoError(t, pl.Tell(0, play.Event{Kind: play.Clock, Index: day, Value: quarter * 900}))
			pl.Next(codes) // black
			bright.Next(full)
			l := pl.Next(codes)
			bright.Next(full)
			hours[l.Gain] += 0.25
			power.Scale(scaled, full, l.Gain)
			require.Equal(t, scaled, codes)
		}
	}
	week := energy.Week(p.Table.Levels)
	require.Len(t, week, 2)
	for _, l := range week {
		require.Equal(t, l.Hours, hours[play.Linear(l.Lightness)], "%d per mille", l.Lightness)
	}
}
