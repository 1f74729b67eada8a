"""Decodes a clip of kind 2 as docs/table-format.md, section 4.3, has it: slowly,
from the page alone, for recount.py. Standard library alone; no code is shared
with paneglow.
"""
import math, zlib

LEVELS = [(0, 1, 0), (1, 1, 1), (2, .7, 1.4), (3.2, .55, 1.65), (5, .4, 2.4), (8, .26, 3.12), (12, .18, 3.42), (20, .09, 5.49)]

def states():
    """Next states by bit, evidence, chance: the four tables, held against their sum."""
    levels, first = [], 0
    for n, step, reach in LEVELS:
        k = round(reach / step)
        levels.append((n, first, [i * step for i in range(-k, k + 1)]))
        first += 2 * k + 1
    after, evidence = [bytearray(256), bytearray(256)], bytearray(256)
    for i, (n, first, odds) in enumerate(levels):
        _, to, there = levels[min(i + 1, len(levels) - 1)]
        for j, z in enumerate(odds):
            evidence[first + j] = math.floor(abs(20 * z) + .5) * (1 if z > 0 else -1) & 255
            for bit in 0, 1:
                p = 1 / (1 + math.exp(-z))
                p += (bit - p) / (n + 1.5)
                best = to + min(range(len(there)), key=lambda m: abs(there[m] - math.log(p / (1 - p))))
                if best == first + j and (z < 0 if bit else z > 0):
                    best += 1 if bit else -1
                after[bit][first + j] = best
    chance = bytes(max(1, min(255, math.floor(256 / (1 + math.exp(-signed(i) / 10)) + .5))) for i in range(256))
    if zlib.crc32(b"".join(after) + evidence + chance) != 0xA0B33640:
        raise ValueError("the states are not those of the page")
    return after, [signed(e) for e in evidence], chance

def signed(b):
    return (b + 128) % 256 - 128

AFTER, EVIDENCE, CHANCE = states()

class Bits:
    def __init__(self, body, at):
        self.body, self.at = body, at

    def byte(self):
        self.at += 1
        return self.body[self.at - 1]

    def begin(self):
        self.r, self.have, self.v = 0xFFFF, 0, self.byte() << 8 | self.byte()

    def bit(self, p=128):
        b = (self.r >> 8) * p
        one = self.v < b
        self.r, self.v = (b, self.v) if one else (self.r - b, self.v - b)
        while self.r < 0x8000:
            if not self.have:
                self.next, self.have = self.byte(), 8
            self.have -= 1
            self.r, self.v = self.r * 2, (self.v * 2 | self.next >> self.have & 1) & 0xFFFF
        return int(one)

    def number(self, n):
        return sum(self.bit() << k for k in reversed(range(n)))

    def one(self, cells, key):
        s = cells.get(key, 0)
        bit = self.bit(CHANCE[EVIDENCE[s] >> 1 & 255])
        cells[key] = AFTER[bit][s]
        return bit

    def two(self, w, a, ka, b, kb):
        sa, sb = a.get(ka, 0), b.get(kb, 0)
        ea, eb = EVIDENCE[sa], EVIDENCE[sb]
        p = CHANCE[max(-127, min(127, (w[0] >> 8) * ea + (w[1] >> 8) * eb >> 7)) & 255]
        bit = self.bit(p)
        e = 256 - p >> 1 if bit else -(p >> 1)
        for i, x in (0, ea), (1, eb):
            w[i] = (w[i] + (e * x >> 4) + 0x8000) % 0x10000 - 0x8000
        a[ka], b[kb] = AFTER[bit][sa], AFTER[bit][sb]
        return bit

def decode(body, frames, channels, pixels, dies):
    """The frames of a clip, and its palette or None: frames of codes, or of indices."""
    at, take = 0, lambda n: int.from_bytes(body[at:at + n], "little")
    flags, memory, at = body[0], body[1], 2
    palette, second, slots, shift = flags & 1, flags >> 3 & 3, memory & 15, memory >> 4
    colours, at = (body[at] + 1, at + 1) if palette else (0, at)
    stored, starts, at = (take(3), {}, at + 3) if flags & 32 else (frames, {}, at)
    if flags & 64:
        count, at = body[at], at + 1
        for _ in range(count):
            starts[take(3)], at = int.from_bytes(body[at + 3:at + 6], "little"), at + 6
    stretches, count, at, x = [], body[at], at + 1, 0
    for _ in range(count):
        v, source = take(2), 0
        at += 2
        if v >> 12 & 3:
            source, at = take(2), at + 2
        stride = (1, 3, 4)[v >> 14]
        stretches.append((x, v & 0xFFF, stride, v >> 12 & 3, source))
        x += (v & 0xFFF) * stride
    turns = []
    if flags & 128:
        count, at = body[at], at + 1
        for _ in range(count):
            turns.append((take(2), int.from_bytes(body[at + 2:at + 4], "little")))
            at += 4
    bits, q, sign = Bits(body, at), lambda d: max(-2, min(2, d)) + 2, lambda d: (d > 0) - (d < 0) + 1

    def plane(s, channel, how, equal, frame, past, olders, hi, context, rest, first, other, w):
        x0, n, stride, *_ = s
        by, back, off = how
        base = olders[back - 1]
        place = lambda i: (i + off) % n if flags & 2 and past is not None else max(0, min(n - 1, i + off))
        spot = lambda i: base[x0 + channel + place(i) * stride]
        e1 = e2 = 0
        for i in range(n):
            x = x0 + channel + i * stride
            b, was = spot(i), frame[x]
            before, after = spot(i - 1) if i else b, spot(i + 1) if i < n - 1 else b
            left = frame[x - stride] if i else b
            step = left - before
            p = (b, b + step, b + (step >> 1), left, 2 * was - olders[1][x] if by == 4 else 0,
                 b + (0, 1, -1)[past[x] if past and past[x] < 3 else 0])[by]
            p = max(0, min(hi, p))
            e = 0
            if not equal:
                c = 5 * q(before - p) + q(after - p)
                h = past[x] if past and flags & 4 else 0
                c = 12 * c + 3 * ((h > 3) + (h > 15) + (h > 63)) + (h & 3) if past and flags & 4 else 3 * c + sign(b + step - p)
                d = (3 * (p >> shift) + sign(was - p) if context == 1 else
                     45 * q(left - p) + 9 * q(after - p) + 3 * sign(was - p) + sign(e1))
                code = (lambda k: bits.two(w[k], first, 2 * c + k, other, 2 * d + k)) if context else (lambda k: bits.one(first, 2 * c + k))
                if not code(0):
                    minus, k = code(1), (min(3, abs(e1)), min(3, abs(e2)))
                    e = 1 + bits.one(rest, (1, k))
                    if e == 2 and bits.one(rest, (2, k)):
                        k, more = min(3, min(255, abs(e1)) + min(255, abs(e2)) >> 3), 0
                        while more < 7 and bits.one(rest, (3, k, more)):
                            more += 1
                        u = 2 | bits.one(rest, (3, k, 7 + more)) if more else 1
                        for _ in range(more - 1):
                            u = u << 1 | bits.bit()
                        e = 2 + u
                    e = -e if minus else e
                    if not 0 <= p + e <= hi:
                        raise ValueError("a sample outside its range")
            e1, e2 = e, e1
            frame[x] = p + e
            if past:
                past[x] = since(past[x], p + e, was)

    def since(h, v, was):
        return 1 if v > was else 2 if v < was else min(h + 4, h if h >= 64 else 255)

    size, table = pixels if palette else channels, None
    if palette:
        bits.begin()
        table, rest, first = bytearray(colours * dies), {}, {}
        for d in range(dies):
            plane((0, colours, dies, 0, 0), d, (3, 1, 0), 0, table, None, [bytes(table)], 255, 0, rest, first, {}, None)
    starts[0], out = bits.at, []
    for f in range(stored):
        if f in starts:
            if bits.at != starts[f]:
                raise ValueError(f"frame {f} is not where it starts")
            bits.begin()
            frame, past, olders, flat = bytearray(size), [0] * size if flags & 4 else [], [bytes(size)] * max(slots, 1), {}
            rest, first, other, w = {}, {}, {}, [[45 * 256] * 2, [45 * 256] * 2]
            how = [(0, 1, 0)] * len(stretches)
        olders = [bytes(frame)] + olders[:max(slots, 1) - 1]
        if bits.one(flat, "same"):
            past = [since(h, 0, 0) for h in past]
        elif bits.one(flat, "raw"):
            for x in range(size):
                v = bits.byte()
                past[x:x + 1] = [since(h, v, frame[x]) for h in past[x:x + 1]]
                frame[x] = v
            bits.begin()
        else:
            context, number = second, 0
            if second and bits.one(flat, "light"):
                context = 0
            for i, s in enumerate(stretches):
                x, n, stride, copied, source = s
                if copied:
                    for k in range(n):
                        a = source + (0, k, -k, 0)[copied] * stride
                        frame[x + k * stride:x + k * stride + stride] = frame[a:a + stride]
                    continue
                if not bits.one(flat, "kept"):
                    by = bits.number(3)
                    how[i] = (by, bits.number(4) + 1, bits.number(5) - 16) if bits.bit() else (by, 1, 0)
                for channel in range(stride):
                    equal = bits.one(flat, ("equal", min(15, number)))
                    number += 1
                    hi = colours - 1 if palette else 255
                    if not equal and bits.one(flat, "bare"):
                        for at in range(x + channel, x + n * stride, stride):
                            v = bits.byte()
                            past[at:at + 1] = [since(h, v, frame[at]) for h in past[at:at + 1]]
                            frame[at] = v
                        bits.begin()
                        continue
                    plane(s, channel, how[i], equal, frame, past, olders, hi, context, rest, first, other, w)
        out.append(bytes(frame))
    if bits.at != len(body):
        raise ValueError("bits after the last frame")
    return [turned(out[f % stored], turns, f // stored) for f in range(frames)], table

def turned(frame, turns, laps):
    """The frame with every run moved round, once a lap."""
    out, x = b"", 0
    for n, by in turns:
        k = n - laps * by % n
        out, x = out + frame[x:x + n][k:] + frame[x:x + n][:k], x + n
    return out if turns else frame
