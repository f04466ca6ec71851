"""The three tones of the page, rendered and listened to by a machine.

    tones.py

The page's own script plays them, in Chromium, into an OfflineAudioContext that stands where the
loudspeaker would; the event comes as the station's would. Checked are pitch, length, level, how far
they are apart, how soon they begin, and that none sounds like an alarm of medical equipment. Prints
a JSON line a tone; exit 1 with what is wrong. Nobody has listened to them at a bench.
"""

import json
import sys

import numpy
from playwright.sync_api import sync_playwright

from alone import SCRIPT, chromium

RATE = 48_000
# IEC 60601-1-8 (from memory): bursts of 3 pulses (medium) or 10, as 5 and 5 (high priority), and 1
# or 2 (low); a pulse of 75 to 250 ms, its fundamental between 150 and 1000 Hz, with at least four
# harmonics between 300 and 4000 Hz that lie within 15 dB of it.
BURSTS, PULSE_MS, FUNDAMENTAL = (3, 5, 10), (75, 250), (150, 1000)
HARMONIC, WITHIN_DB, HARMONICS = (300, 4000), 15, 4
# From the event's arrival; the station tells of a line as soon as it is on disk.
ONSET_MS_MAX = 150

# The loudspeaker and the station's feed, before the script runs.
INSTEAD = """
  window.feeds = [];
  window.EventSource = class {
    constructor() { this.on = {}; window.feeds.push(this); }
    addEventListener(name, what) { this.on[name] = what; }
  };
  window.contexts = [];
  window.AudioContext = class extends OfflineAudioContext {
    constructor() { super(1, 48000 * 2, 48000); window.contexts.push(this); }
    resume() { return Promise.resolve(); }
  };
"""
PAGE = """<!doctype html><body data-bench="b1"><button id="sound"></button><button id="dark"></button>
<p id="num"></p><div id="gone" hidden></div><input id="code"><p id="said"></p><script src="/page.js"></script>"""
HEARD = """async (name) => {
  window.feeds[0].on.tone({ data: JSON.stringify(name) });
  const sound = await window.contexts.at(-1).startRendering();
  return [...sound.getChannelData(0)];
}"""


def listen(browser, name):
    """What the page plays for an event: samples from the moment on at which the event was handled,
    which is the one it arrived in: what the script does not schedule at once is never rendered."""
    page = browser.new_page()
    page.add_init_script(INSTEAD)
    page.route("**/page.js", lambda route: route.fulfill(body=SCRIPT, content_type="text/javascript"))
    page.route("http://bench.test/", lambda route: route.fulfill(body=PAGE, content_type="text/html"))
    page.goto("http://bench.test/")
    page.mouse.click(5, 5)  # a browser lets nothing sound before somebody touched it
    samples = page.evaluate(HEARD, name)
    page.close()
    return numpy.array(samples)


def pulses(sound):
    """Where it sounds: pairs of samples, apart by 20 ms of silence at least."""
    loud = numpy.flatnonzero(numpy.abs(sound) > 0.1 * numpy.abs(sound).max())
    breaks = numpy.flatnonzero(numpy.diff(loud) > RATE // 50)
    begins = [loud[0], *loud[breaks + 1]]
    return list(zip(begins, [*loud[breaks], loud[-1]]))


def spectrum(piece):
    level = numpy.abs(numpy.fft.rfft(piece * numpy.hanning(len(piece)), RATE))
    return level / len(piece)


def pitch(piece):
    """The fundamental: the lowest line that is no more than 30 dB below the strongest."""
    level = spectrum(piece)
    line = int(numpy.argmax(level > level.max() / 30))
    return line + int(numpy.argmax(level[line:line + 40]))


def harmonics(piece, hertz):
    """How many stand where an alarm has them, as loud as an alarm has them."""
    level, lines = spectrum(piece), range(HARMONIC[0], HARMONIC[1])
    near = lambda of: level[max(0, int(of) - 6):int(of) + 7].max()
    floor = near(hertz) * 10 ** (-WITHIN_DB / 20)
    each = [n * hertz for n in range(1, 40) if int(n * hertz) in lines]
    return sum(int(near(of) >= floor) for of in each)


def weighted(piece):
    """Level in dB of full scale, as ears weigh it: the A-weighting of IEC 61672-1 (from memory)."""
    level, f = numpy.abs(numpy.fft.rfft(piece)), numpy.fft.rfftfreq(len(piece), 1 / RATE)
    f = numpy.maximum(f, 1)
    curve = (12194**2 * f**4) / ((f**2 + 20.6**2) * (f**2 + 12194**2)
                                 * numpy.sqrt((f**2 + 107.7**2) * (f**2 + 737.9**2)))
    power = 2 * numpy.sum((level * curve * 10 ** (2 / 20)) ** 2) / len(piece) ** 2
    return 10 * numpy.log10(power)


def judge(name, sound):
    begins = pulses(sound)
    pieces = [sound[a:b] for a, b in begins]
    pitches = [pitch(piece) for piece in pieces]
    return {
        "tone": name,
        "pulses": len(pieces),
        "hertz": pitches,
        "ms": [round(float(b - a) * 1000 / RATE) for a, b in begins],
        "onset_ms": round(float(begins[0][0]) * 1000 / RATE, 1),
        "peak": round(float(numpy.abs(sound).max()), 3),
        "dba": [round(float(weighted(piece)), 1) for piece in pieces],
        "alarm_harmonics": [harmonics(piece, of) for piece, of in zip(pieces, pitches)],
    }


def wrong(heard):
    captured, fail, attention = (heard[name] for name in ("captured", "fail", "attention"))
    checks = {
        "captured is one short high tone": captured["pulses"] == 1 and captured["ms"][0] <= 200
        and captured["hertz"][0] > 1000,
        "fail is two low tones, falling": fail["pulses"] == 2 and max(fail["hertz"]) < 500
        and fail["hertz"][1] < fail["hertz"][0] * 0.9,
        "attention is one buzz": attention["pulses"] == 1 and attention["hertz"][0] < 150
        and attention["ms"][0] >= 250,
        "a fail lasts longest": sum(fail["ms"]) > 1.5 * max(captured["ms"][0], attention["ms"][0]),
        # An octave or a count apart: whoever hears no pitch counts, whoever counts not hears pitch.
        "high and buzz are octaves apart": captured["hertz"][0] > 4 * attention["hertz"][0],
        "a fail is as loud to the ear as a capture": min(fail["dba"]) > captured["dba"][0] - 3,
        "a buzz is heard beside them": attention["dba"][0] > captured["dba"][0] - 10,
    }
    for one in heard.values():
        name = one["tone"]
        alarm = [FUNDAMENTAL[0] <= hertz <= FUNDAMENTAL[1] and count >= HARMONICS
                 and PULSE_MS[0] <= ms <= PULSE_MS[1]
                 for hertz, count, ms in zip(one["hertz"], one["alarm_harmonics"], one["ms"])]
        checks[f"{name} begins soon"] = one["onset_ms"] <= ONSET_MS_MAX
        checks[f"{name} is not clipped"] = 0.1 < one["peak"] < 0.9
        checks[f"{name} is no burst of an alarm"] = one["pulses"] not in BURSTS
        checks[f"{name} is no pulse of an alarm"] = not any(alarm)
    return [what for what, holds in checks.items() if not holds]


def main():
    heard = {}
    with sync_playwright() as playwright:
        browser = chromium(playwright)
        for name in ("captured", "fail", "attention"):
            heard[name] = judge(name, listen(browser, name))
            print(json.dumps(heard[name]), flush=True)
        browser.close()
    # The ear of this test is no better than what it can tell from an alarm.
    seconds = numpy.arange(RATE // 5) / RATE
    alarm = sum(numpy.sin(2 * numpy.pi * 440 * n * seconds) / n for n in range(1, 6)) / 4
    assert harmonics(alarm, pitch(alarm)) >= HARMONICS, "an alarm would be known"
    faults = wrong(heard)
    print(json.dumps({"faults": faults}))
    sys.exit(1 if faults else 0)


main()
