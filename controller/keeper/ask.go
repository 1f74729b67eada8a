package keeper

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"

	"paneglow/controller/link"
)

// questions are those that a client may put to the board itself: they change nothing, and
// no answer takes longer than a few milliseconds, so that nobody else waits for one.
var questions = []link.Kind{link.Hello, link.Counters, link.Log, link.Read}

// doAsk passes on a question of a client and gives the board's answer. It does not wait
// for what is being told, nor holds that up.
func (k *Keeper) doAsk(ctx context.Context, rest string) (string, error) {
	b, err := hex.DecodeString(rest)
	if err != nil || len(b) == 0 || len(b) > 1+link.MostBody {
		return "", fmt.Errorf("ask wants a message's kind and its body, 1 to %d bytes as hexadecimal digits", 1+link.MostBody)
	}
	kind := link.Kind(b[0])
	if !slices.Contains(questions, kind) {
		return "", fmt.Errorf("message %d is not passed on: only what reads is (hello, counters, black box, reading back); whatever else is done to the board wants the line for itself, so stop this keeper first", kind)
	}
	var answer []byte
	err = k.with(func(c *link.Conn) error {
		answer, err = c.Ask(ctx, kind, b[1:])
		return err
	})
	var s *link.StatusError
	if errors.As(err, &s) {
		return fmt.Sprintf("answer %02x", uint8(s.Status)), nil
	}
	if err != nil {
		return "", err
	}
	return fmt.Sprintf("answer %02x%x", uint8(link.OK), answer), nil
}
