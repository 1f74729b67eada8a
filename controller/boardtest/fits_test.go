package boardtest

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"paneglow/anim/show"
	"paneglow/controller/link"
	"paneglow/controller/upload"
	"paneglow/render/table"
)

// What the player would not begin with is refused before the switch.
func TestWhatCannotPlayIsNotSwitchedTo(t *testing.T) {
	for _, c := range []struct {
		flag   string
		change func(s *table.Show)
	}{
		{"-DPG_WITH_FADES=0", func(s *table.Show) { s.States[1].HandOver, s.States[1].Fade = show.Crossfade, 400 }},
		{"-DPG_WITH_SLEW=0", func(s *table.Show) { s.Slew = 100_000 }},
	} {
		plain := shelf(t, 10, 40)
		b := New(t, &plain.Show, plain.Bytes(), "-UPG_STREAMS", "-DPG_STREAMS=0", c.flag)
		conn := attach(t, b, link.Options{})
		shows(t, b, "0 "+strings.Repeat("0b0a0c", 4))
		_, err := conn.Ask(t.Context(), link.Loads, link.LoadsBody(0))
		require.NoError(t, err)
		_, err = upload.Upload(t.Context(), conn, shelfWith(t, 20, 60, c.change), upload.Options{})
		assert.ErrorIs(t, err, upload.ErrFirmware, c.flag)
	}
}
