package table

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
)

// The writer's proof sees a payload that unpacks to anything else.
func TestProofSeesEveryChange(t *testing.T) {
	s := cabinet()
	c := Clip{Name: "c", Frames: 20, Channels: s.Channels(), Bytes: ramp(s, 20)}
	payload := packCoded(s, &c, codedLimits{work: 4096}).payload
	info := &ClipInfo{Name: "c", Frames: 20, Kind: Coded, Length: len(payload)}
	require.NoError(t, prove(s, info, payload, &c))
	for f := range 20 {
		c.Bytes[f*c.Channels] ^= 1
		require.ErrorContains(t, prove(s, info, payload, &c), "does not come back", "frame %d", f)
		c.Bytes[f*c.Channels] ^= 1
	}
	require.ErrorIs(t, prove(s, info, append(bytes.Clone(payload), 0), &c), ErrData)
	require.ErrorIs(t, prove(s, info, payload[:len(payload)-1], &c), ErrData)
}
