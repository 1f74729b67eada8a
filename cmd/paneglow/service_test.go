package main

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The unit for systemd starts what this program knows, and the drivers of the devices
// that it allows are loaded before: systemd.resource-control(5), of DeviceAllow, says
// that groups which are not there then are left out.
func TestServiceUnit(t *testing.T) {
	b, err := os.ReadFile("../../examples/service/paneglow.service")
	require.NoError(t, err)
	unit := string(b)
	line := regexp.MustCompile(`(?m)^ExecStart=/usr/local/bin/paneglow stream (.*)$`).FindStringSubmatch(unit)
	require.NotNil(t, line)
	c := (&app{}).streamCommand()
	require.NoError(t, c.ParseFlags(strings.Fields(strings.ReplaceAll(line[1], "'", ""))))
	require.Empty(t, c.Flags().Args())
	require.Equal(t, "/run/paneglow/socket", c.Flag("socket").Value.String())
	modules := map[string]string{"ttyACM": "cdc_acm", "ttyUSB": "usbserial"}
	allowed := regexp.MustCompile(`(?m)^DeviceAllow=char-(\w+) rw$`).FindAllStringSubmatch(unit, -1)
	require.Len(t, allowed, len(modules))
	for _, m := range allowed {
		for _, key := range []string{"Wants", "After"} {
			require.Regexp(t, `(?m)^`+key+`=.*modprobe@`+modules[m[1]]+`\.service`, unit)
		}
	}
}
