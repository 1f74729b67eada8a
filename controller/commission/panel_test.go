package commission

import (
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/prove"
	"paneglow/render/table"
)

// The fingerprint is that of the tables which are exported for this machine.
func TestPanelSum(t *testing.T) {
	for _, dir := range []string{"starter", "umbrella"} {
		p := prove.Open("../../examples/"+dir, "")
		require.NoError(t, p.Found.Err())
		r := &Run{File: p.Machine.File, Source: p.Machine.Source}
		require.NoError(t, r.Begin())
		got, err := r.PanelSum()
		require.NoError(t, err)
		whole, err := table.NewShow(p.Show, p.Machine, p.On.Layout)
		require.NoError(t, err)
		require.Equal(t, whole.PanelSum(), got)
	}
}
