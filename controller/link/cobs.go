package link

import (
	"errors"
	"fmt"
)

// ErrStuffing is the kind of every error of Unstuff.
var ErrStuffing = errors.New("link: not a stuffed frame")

// AppendStuffed appends src with its zeros taken out by COBS: at least one byte
// longer, at most one more for every 254. dst and src must not overlap. A full
// last block of 254 bytes is not followed by an empty one.
func AppendStuffed(dst, src []byte) []byte {
	at := len(dst) // of the code byte
	dst = append(dst, 1)
	for i, b := range src {
		if b != 0 {
			dst = append(dst, b)
			dst[at]++
		}
		if b == 0 || dst[at] == 0xff && i+1 < len(src) {
			at = len(dst)
			dst = append(dst, 1)
		}
	}
	return dst
}

// AppendUnstuffed appends what AppendStuffed was given. It refuses a 0x00 and a
// code byte that points past the end, with dst as it was; both ways of ending
// after a full block are taken.
func AppendUnstuffed(dst, src []byte) ([]byte, error) {
	from := len(dst)
	for i := 0; i < len(src); {
		n := int(src[i])
		if n == 0 {
			return dst[:from], fmt.Errorf("%w: a zero at byte %d", ErrStuffing, i)
		}
		if i+n > len(src) {
			return dst[:from], fmt.Errorf("%w: a block of %d bytes at byte %d of %d", ErrStuffing, n, i, len(src))
		}
		for _, b := range src[i+1 : i+n] {
			if b == 0 {
				return dst[:from], fmt.Errorf("%w: a zero in the block at byte %d", ErrStuffing, i)
			}
		}
		dst = append(dst, src[i+1:i+n]...)
		if i += n; n < 0xff && i < len(src) {
			dst = append(dst, 0)
		}
	}
	return dst, nil
}
