#!/usr/bin/env python3
"""Counts again what a frame table may draw: recount.py TABLE MACHINE.toml PROOF

Reads the table (docs/table-format.md) and the machine file, works the certificate
of `paneglow export --proof` (docs/proof.md) out from those two alone, and compares
every figure. Exits with 0 when all agree and hold, else with 1 and a line that says
what does not. Python 3.11, standard library alone; no code is shared with paneglow.
"""
import functools, io, itertools, json, struct, sys, tomllib, types, zlib
sys.dont_write_bytecode = True
import coded, between  # beside this file: clips of kind 2; of kinds 3 and 4
from fractions import Fraction

FULL, ANY, LAWS, DIES = 65536, -1, ["sum", "largest", "ceiling"], ["red", "green", "blue", "white"]
UNITS = {"uA": 1, "µA": 1, "μA": 1, "mA": 1000, "A": 10**6, "%": 10**4, "degC": 1000, "°C": 1000, "mA/s": 1000, "A/s": 10**6, "A/ms": 10**9}

def need(ok, what):
    return ok or sys.exit("recount: " + what)

def quantity(text):  # microamperes, millionths, thousandths of a degree
    number = text.strip().rstrip("".join(UNITS) + " ")
    return Fraction(number) * UNITS[text.strip()[len(number):].strip()]

def read(data):  # the table as a namespace; its clips hold their codes, frame by frame
    f = io.BytesIO(data)
    def block(start, end, what):
        need(struct.pack("<I", zlib.crc32(data[start:end - 4])) == data[end - 4:end], f"the CRC of {what} is wrong")
        return data[start:end - 4]
    u, i32 = lambda n: int.from_bytes(f.read(n), "little"), lambda: struct.unpack("<i", f.read(4))[0]
    text = lambda: f.read(u(1)).decode()
    t, (end, length, notes, panel) = types.SimpleNamespace(fps=data[6] + 256 * data[7]), struct.unpack_from("<IIII", data, 8)
    need(data[:6] == b"\xd0ane\x02\0" and len(data) == length, "not a frame table of version 2, or not all of it")
    block(0, end, "the header"), block(notes, length, "the notes"), f.seek(48)
    counts, many = data[37:45], lambda n, one: [one() for _ in range(n)]
    t.supplies = many(counts[0], lambda: {"name": "", "steady": u(4), "surge": u(4), "least": i32(), "raise": u(4), "slew": u(4)})
    t.loads = many(counts[1], lambda: {"run": u(4), "start": u(4), "supply": u(1)})
    t.states = many(counts[2], lambda: {"clip": u(1), "how": u(1), "fade": u(2), "loads": u(2), "still": u(1), "then": u(1), "stay": u(4)})
    t.states = [x | {"budget": [i32() for _ in t.supplies]} for x in t.states]
    t.levels = many(counts[3], lambda: (u(5), u(2))[1])
    t.clips = many(counts[4], lambda: {"kind": u(1), "flags": u(1), "work": u(2), "frames": u(4), "at": u(4), "length": u(4), "peak": u(4), "cycles": u(4)})
    soldered = f.tell()
    t.parts = many(counts[5], lambda: {"dies": (n := u(1)), "order": u(1), "law": u(1), "idle": u(4), "channel": [u(4) for _ in range(4)][:n], "ceiling": u(4), "timing": u(10)})
    t.strips = [x | {"missing": [u(2) for _ in range(x["missing"])]} for x in
                many(counts[6], lambda: {"part": t.parts[u(1)], "line": u(1), "supply": u(1), "pixels": u(2), "missing": u(2)})]
    need(f.tell() == end - 4 and zlib.crc32(data[soldered:end - 4]) == panel, "the header's fields do not end where it does, or their sum is another")
    t.title, _ = f.seek(notes + 1) and text(), many(counts[7], text)
    for x in itertools.chain(t.parts, t.strips, t.supplies[1:], t.loads, t.states, t.clips):
        x["name"] = text()
    t.size = 0
    for x in t.strips:  # where its codes stand in a frame
        x["lo"], t.size = t.size, t.size + x["pixels"] * x["part"]["dies"]
    for c in t.clips:
        c["codes"] = decode(t, c, block(c["at"], c["at"] + c["length"] + 4, "clip " + c["name"]))
        need(c["peak"] == max(sum(count(t, codes, s)[0] for s in range(len(t.supplies))) for codes in c["codes"]), f"the peak of clip {c['name']} is another")
    return t

def decode(t, clip, body):
    if clip["kind"] < 2:  # still, raw
        n = clip["frames"] if clip["kind"] else 1
        return [body[i * t.size:(i + 1) * t.size] for i in range(n)] * (clip["frames"] // n)
    need(clip["kind"] <= 4, "a kind of clip that is not known")
    pixels, most = sum(s["pixels"] for s in t.strips), max([3] + [p["dies"] for p in t.parts])
    if clip["kind"] > 2:
        return between.decode(clip["kind"], body, clip["frames"], clip["flags"] >> 1 & 1, t.size, pixels, most)
    out, palette = coded.decode(body, clip["frames"], t.size, pixels, most)
    if palette is None:
        return out
    dies = [s["part"]["dies"] for s in t.strips for _ in range(s["pixels"])]
    return [b"".join(palette[v * most:v * most + n] for v, n in zip(frame, dies)) for frame in out]

def count(t, codes, supply):  # microamperes from a supply, and the numerator that scales
    nums, idle, scales = {}, 0, 0
    for s in (s for s in t.strips if s["supply"] == supply):
        p, n, gone = s["part"], s["part"]["dies"], set(s["missing"])
        cols = [[v for i, v in enumerate(codes[s["lo"] + d:s["lo"] + s["pixels"] * n:n]) if i not in gone] for d in range(n)]
        plain = num = sum(ua * sum(col) for ua, col in zip(p["channel"], cols))
        if p["law"]:  # 1 the largest product of a pixel, 2 their sum up to a ceiling
            pixels = [[ua * v for ua, v in zip(p["channel"], px)] for px in zip(*cols)]
            num = sum(map(max, pixels)) if p["law"] == 1 else sum(min(sum(px), 255 * p["ceiling"]) for px in pixels)
        nums[id(p)], idle = nums.get(id(p), 0) + num, idle + p["idle"] * len(cols[0])
        scales += num if p["law"] == 1 else plain
    return idle + sum(-(-n // 255) for n in nums.values()), scales

def machine(t, m):  # holds the table's header against the machine file
    same = lambda what, a, b: need(a == b, f"{what}: the table says {a}, the machine file {b}")
    supplies = m["supply"] if isinstance(m["supply"], list) else [m["supply"]]
    hangs = lambda x: [s.get("name") for s in supplies].index(x["supply"]) if "supply" in x else 0
    for i, (s, x) in enumerate(zip(t.supplies, supplies, strict=True)):
        curve = [(quantity(a), quantity(b)) for a, b in x.get("derate", [])]
        gives, air = curve[0][1] if curve else 10**6, quantity(x.get("temperature", "0 degC"))
        for (a, p), (b, q) in zip(curve, curve[1:]):
            gives = p - -((q - p) * (min(air, b) - a) // (b - a)) if air > a else gives
        amps, slew = quantity(x["amps"]) * gives // 10**6, quantity(x.get("slew", {}).get("rise", "0 A/s")) // 1000
        gives = [amps * quantity(x.get("share", "80 %")) // 10**6, amps * quantity(x.get("surge", "100 %")) // 10**6]
        for st in t.states:
            loads = [l for k, l in enumerate(t.loads) if st["loads"] >> k & 1 and l["supply"] == i]
            run = sum(l["run"] for l in loads)
            starts = max([run + l["start"] - l["run"] for l in loads], default=0)
            same(f"budget of {st['name']}", st["budget"][i], min(gives[0] - run, gives[1] - starts))
        same("supply", [s["steady"], s["surge"], s["slew"], s["least"]], gives + [slew, min(st["budget"][i] for st in t.states)])
    for p, x in zip(t.parts, m["part"], strict=True):
        c, spread = x["current"], 10**6 + (0 if x.get("fitted") else quantity(x["current"]["spread"]))
        up = lambda ua, leds=1: -(-quantity(ua) * leds * spread // 10**6)
        most = up(c["ceiling"], x.get("leds_per_pixel", 1)) if x["law"] == "ceiling" else 0
        same("part " + x["name"], [p["name"], p["law"], p["idle"], p["channel"], p["ceiling"]],
             [x["name"], LAWS.index(x["law"]), up(c["idle"]), [up(c[d]) for d in DIES[:len(x["order"])]], most])
    same("strips", sorted((s["name"], s["part"]["name"], s["pixels"], s["missing"], s["supply"]) for s in t.strips),
         sorted((x["name"], x["part"], x["pixels"], sorted(x.get("missing", [])), hangs(x)) for x in m["strip"]))
    run = lambda x: max(quantity(x["amps"]), quantity(x.get("stall", "0 A")))
    same("loads", [(l["name"], l["run"], l["start"], l["supply"]) for l in t.loads],
         [(x["name"], run(x), max(run(x), quantity(x.get("start", "0 A"))), hangs(x)) for x in m.get("load", [])])

def certificate(t):  # every case again, in the order of docs/proof.md
    S, names = range(len(t.supplies)), lambda bits: [l["name"] for k, l in enumerate(t.loads) if bits >> k & 1]
    linear = lambda p: (p * 27 * FULL + 121945) // 243890 if p <= 80 else ((p + 160)**3 * FULL + 1160**3 // 2) // 1160**3
    levels = sorted({FULL} | {linear(p) for p in t.levels})
    counts = functools.cache(lambda c, f, k: [count(t, t.clips[c]["codes"][f].translate(bytes(v * k >> 16 for v in range(256))), s) for s in S])
    idle = [count(t, bytes(t.size), s)[0] for s in S]
    value = lambda c: t.clips[c]["flags"] & 1
    frames = lambda st: 1 if st["still"] and not value(st["clip"]) else t.clips[st["clip"]]["frames"]
    shown = [(c, f) for c in range(len(t.clips)) for f in range(max([frames(st) for st in t.states if st["clip"] == c], default=0))]
    mixes = [max(counts(c, f, FULL)[s][1] for c, f in shown) for s in S]
    @functools.cache
    def worst(c, n, k, budgets):  # the frame of the greatest current, and that, by supply
        best = [(-1, -1)] * len(S)
        for f in range(n):
            level = FULL if k == ANY else k
            draws = [x for x, _ in counts(c, f, level)]
            over = [s for s in S if draws[s] > budgets[s]]
            if over and k == ANY:
                draws = list(map(min, draws, budgets))
            elif over:
                rooms = [(max(budgets[s] - idle[s] - len(t.parts), 0) * 255 * FULL, counts(c, f, FULL)[s][1]) for s in over]
                draws = [x for x, _ in counts(c, f, min([level] + [room // num for room, num in rooms]))]
            best = [(f, d) if d > b else (g, b) for (g, b), d in zip(best, draws)]
        return best
    every = range(2**len(t.loads))
    rows, sets = [], [(False, 0, 0)] + [(True, r, k) for r in every for k in every if not r & k]
    for st, (known, run, start) in itertools.product(t.states, sets):
        budgets = []
        for s, x in enumerate(t.supplies):
            on = [(l, start >> k & 1) for k, l in enumerate(t.loads) if l["supply"] == s and (run | start) >> k & 1]
            budgets.append(min([st["budget"][s], x["steady"] - sum(l["run"] for l, _ in on), x["surge"]] + [x["least"]] * (not known)
                               + [x["surge"] - sum(l["start"] if starts else l["run"] for l, starts in on)] * any(starts for _, starts in on)))
        dark = any(i > b for i, b in zip(idle, budgets))
        ends = sorted({x["clip"] for x in t.states if not x["still"] and not value(x["clip"])}) if st["how"] == 2 and not st["still"] else []
        cases = [("start", None, FULL, 0)] + [("clip", st["clip"], k, frames(st)) for k in levels + [ANY]]
        cases += [("finish", c, k, t.clips[c]["frames"]) for c in ends for k in levels + [ANY]]
        cases += [("mix", None, k, 0) for k in levels + [ANY] if st["how"] and not st["still"]]
        for by, c, k, n in cases:
            if by == "start" or dark:
                best = [(-1, i) for i in idle]
            elif by == "mix":
                level = FULL if k == ANY else k
                best = [(-1, min(b, i + m * level // (FULL * 255) + len(t.parts))) for b, i, m in zip(budgets, idle, mixes)]
            else:
                best = worst(c, n, k, tuple(budgets))
            case = {"state": st["name"], "by": by, "shows": "" if c is None else t.clips[c]["name"], "known": known,
                    "running": names(run), "starting": names(start), "level": k, "dark": dark}
            rows += [case | {"supply": x["name"], "frame": f, "draws_uA": d, "exact": by == "start" or dark or k != ANY and by != "mix", "budget_uA": b}
                     for x, (f, d), b in zip(t.supplies, best, budgets)]
    clips = [{"clip": c["name"], "supply": x["name"], "current_uA": [counts(i, f, FULL)[s][0] for f in range(c["frames"])]}
             for i, c in enumerate(t.clips) for s, x in enumerate(t.supplies)]
    return {"version": 1, "title": t.title, "levels": levels, "clips": clips, "rows": rows}

def main(table, file, proof):
    data, claims = open(table, "rb").read(), json.load(open(proof, encoding="utf-8"))
    machine(t := read(data), tomllib.load(open(file, "rb")))
    mine = certificate(t) | {"table_bytes": len(data), "table_crc": f"{zlib.crc32(data):08x}"}
    for k in sorted(mine.keys() | claims.keys()):
        mine_k, theirs = (x.get(k) if isinstance(x.get(k), list) else [x.get(k)] for x in (mine, claims))
        for a, b in itertools.zip_longest(mine_k, theirs):
            need(a == b, f"{k}: the certificate says {b}, counted is {a}")
    need(all(r["dark"] or r["draws_uA"] <= r["budget_uA"] for r in mine["rows"]), "a row is over its budget")
    print(f"{len(mine['rows'])} rows, {sum(c['frames'] for c in t.clips)} frames: all agree and hold")

try:
    need(len(sys.argv) == 4, "wants three files: recount.py TABLE MACHINE.toml PROOF") and main(*sys.argv[1:])
except Exception as e:  # whatever the bytes, one line
    sys.exit(f"recount: {type(e).__name__}: {e}")
