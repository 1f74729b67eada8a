package table

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
)

// A slim table has the same frames, states and names, and no more than it needs.
func TestSlim(t *testing.T) {
	s, clips := worked()
	var out bytes.Buffer
	_, err := Write(&out, s, clips, Options{Workers: 1})
	require.NoError(t, err)
	full, err := Read(out.Bytes(), Limits{})
	require.NoError(t, err)
	slim, err := full.Slim()
	require.NoError(t, err)
	require.Equal(t, full.Show, slim.Show)
	require.Less(t, len(slim.Bytes()), len(full.Bytes()))
	require.Equal(t, full.Bytes()[full.HeaderLength:full.NotesOffset], slim.Bytes()[slim.HeaderLength:slim.NotesOffset])
	again, err := slim.Slim()
	require.NoError(t, err)
	require.Equal(t, slim.Bytes(), again.Bytes())
	for i := range full.Clips {
		require.Equal(t, full.Currents(i), slim.Currents(i), "counted again from the codes")
	}
	require.Nil(t, slim.Cycles(0))
}
