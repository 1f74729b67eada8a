"""Decodes clips of kinds 3 and 4, keys and field, as docs/table-format.md, sections 4.4
and 4.5, has them: slowly, from the page alone, for recount.py. Standard library alone;
no code is shared with paneglow.
"""
import coded
from fractions import Fraction

def light(s):
    """c[s]: CIE 15, L* = 100 s/255, full is 65535."""
    y = Fraction(2700 * s, 255 * 24389) if s <= 20 else Fraction(100 * s + 4080, 29580) ** 3
    return int(y * 65535 + Fraction(1, 2))

LIGHT = [light(s) for s in range(256)]

def decode(kind, body, frames, loops, channels, pixels, dies):
    """The frames of a clip: codes."""
    hop, flags, top = body[0], body[1], int.from_bytes(body[2:4], "little")
    if not hop or flags > 3 or flags & 1 != loops:
        raise ValueError("a key distance of 0, or unknown flags")
    places = list(range(0, frames, hop))
    if not loops and places[-1] != frames - 1:
        places.append(frames - 1)
    samples, palette = coded.decode(body[4:], len(places), channels, pixels, dies)
    if (palette is not None) != (kind == 4):
        raise ValueError("key frames with a palette, or a field without one")
    if kind == 4:
        samples = [b"".join(palette[v * dies:(v + 1) * dies] for v in frame) for frame in samples]
    out = []
    for i, (place, a) in enumerate(zip(places, samples)):
        last = i + 1 == len(places)
        end = frames if last else places[i + 1]
        b = a if last and not loops else samples[(i + 1) % len(places)]
        rest = [128] * channels
        for f in range(place, end):
            w = (f - place) * 256 // (end - place)
            if kind == 4:
                v = [(LIGHT[x] * top // 65536 * (256 - w) + LIGHT[y] * top // 65536 * w) // 256 for x, y in zip(a, b)]
            else:
                v = [(LIGHT[x] * (256 - w) + LIGHT[y] * w) // 256 * top // 65536 for x, y in zip(a, b)]
            if flags & 2:
                v = [x + e for x, e in zip(v, rest)]
                rest = [x % 256 for x in v]
            else:
                v = [x + 128 for x in v]
            out.append(bytes(x // 256 for x in v))
    return out
