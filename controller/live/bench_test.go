package live

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/controller/attach"
	"paneglow/controller/boardtest"
	"paneglow/render/prove"
	"paneglow/render/table"
)

func TestMain(m *testing.M) {
	code := m.Run()
	boardtest.CleanUp()
	os.Exit(code)
}

// What the window latches is on the strips of a whole controller, as bytes of its
// data line; flashes are held back; the stored show plays on afterwards.
func TestStrips(t *testing.T) {
	const show = "../../examples/starter"
	p := prove.Open(show, "")
	require.NoError(t, p.Found.Err())
	p.Finish(prove.Workers(), nil)
	p.Pack(table.Quick, prove.Workers())
	require.NoError(t, p.Found.Err())
	b := boardtest.New(t, &p.Table.Show, p.Bytes)
	strips, err := Open(t.Context(), p.Machine, p.Show.FPS, attach.Target{To: b.Target()})
	require.NoError(t, err)
	codes := make([]uint8, p.Table.Channels())
	for i := range codes {
		codes[i] = uint8(20 + i%3)
	}
	want := strings.Repeat("151416", p.Table.Pixels()) // GRB
	last := func() string {
		r := b.Refreshes(t)
		if len(r) == 0 {
			return ""
		}
		return strings.Fields(r[len(r)-1])[2]
	}
	require.Eventually(t, func() bool {
		require.NoError(t, strips.Latch(codes, 0))
		return last() == want
	}, 15*time.Second, 20*time.Millisecond)
	require.Contains(t, strips.Words(), "on the strips, ")

	// White, on and off as fast as can be: at most three flashes of it pass.
	white, dark := bytes.Repeat([]uint8{60}, len(codes)), make([]uint8, len(codes))
	for i := range 40 {
		require.NoError(t, strips.Latch([][]uint8{white, dark}[i%2], 0))
	}
	_, held := strips.Stats()
	require.GreaterOrEqual(t, held, 15, "every other one is what shows already")
	require.Contains(t, strips.Words(), fmt.Sprintf("%d held back", held))
	// The last one of them was held back, and no other comes: it shows when it may.
	now := held
	for i := 0; now == held; i++ {
		require.Less(t, i, 100)
		codes := [][]uint8{white, dark}[i%2]
		require.NoError(t, strips.Latch(codes, 0))
		_, now = strips.Stats()
		want = strings.Repeat(fmt.Sprintf("%02x", codes[0]), len(codes))
	}
	require.Eventually(t, func() bool { return last() == want }, 15*time.Second, 20*time.Millisecond)
	require.ErrorContains(t, strips.Latch(codes[1:], 0), "the machine's file has changed")
	require.NoError(t, strips.Close())

	other := prove.Open("../../examples/umbrella", "")
	require.NoError(t, other.Found.Err())
	_, err = Open(t.Context(), other.Machine, other.Show.FPS, attach.Target{To: b.Target()})
	require.ErrorContains(t, err, "build it with this machine's header")
	_, err = Open(t.Context(), p.Machine, p.Show.FPS, attach.Target{To: "exec:false"})
	require.ErrorContains(t, err, "exec:false")
}

// A supply that cannot feed white: what goes out of a frame of it stays inside the
// budget, counted here from the bytes on the data line.
func TestStripsKeepTheBudget(t *testing.T) {
	const show = "../../examples/starter"
	source, err := os.ReadFile(filepath.Join(show, "machine.toml"))
	require.NoError(t, err)
	weak := strings.Replace(string(source), `amps = "5 A"`, `amps = "2.6 A"`, 1)
	require.NotEqual(t, string(source), weak)
	machine := filepath.Join(t.TempDir(), "machine.toml")
	require.NoError(t, os.WriteFile(machine, []byte(weak), 0o666))
	p := prove.Open(show, machine)
	require.NoError(t, p.Found.Err())
	p.Finish(prove.Workers(), nil)
	p.Pack(table.Quick, prove.Workers())
	require.NoError(t, p.Found.Err())
	// 2.6 A less the motor's start of 2 A; until the panel is told what runs, that holds.
	require.EqualValues(t, 600_000, p.Table.Least)
	b := boardtest.New(t, &p.Table.Show, p.Bytes)
	strips, err := Open(t.Context(), p.Machine, p.Show.FPS, attach.Target{To: b.Target()})
	require.NoError(t, err)
	white := bytes.Repeat([]uint8{255}, p.Table.Channels())
	most := 0.0
	require.Eventually(t, func() bool {
		require.NoError(t, strips.Latch(white, 0))
		r := b.Refreshes(t)
		if len(r) == 0 {
			return false
		}
		wire, err := hex.DecodeString(strings.Fields(r[len(r)-1])[2])
		require.NoError(t, err)
		amps := 0.001 * float64(p.Table.Pixels()) // dark
		for _, code := range wire {
			amps += 0.012 * 1.08 * float64(code) / 255 // with the spread
		}
		most = max(most, amps)
		return amps > 0.95*0.6
	}, 15*time.Second, 20*time.Millisecond)
	require.LessOrEqual(t, most, 0.6)
	require.NoError(t, strips.Close())
}
