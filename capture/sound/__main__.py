"""``python -m capture.sound [NAME]``: the devices, three seconds of the microphone, its level.

The first lines of a report about sound that does not work.
"""

import sys
from collections.abc import Callable

from capture.showable import one_line
from capture.sound.devices import Kind, SoundSystem, choose, listed
from capture.sound.errors import DeviceError
from capture.sound.microphone import Microphone
from capture.sound.portaudio import PortAudio
from capture.sound.source import MicState

SECONDS = 3.0


def report(
    system: SoundSystem,
    write: Callable[[str], None],
    wanted: str | None = None,
    seconds: float = SECONDS,
) -> bool:
    """Write what devices there are and how loud the microphone is; whether it gave sound."""
    try:
        devices = system.devices()
        write(f"microphones: {listed([d for d in devices if d.inputs]) or 'none'}")
        write(f"speakers:    {listed([d for d in devices if d.outputs]) or 'none'}")
        choose(devices, wanted, Kind.MICROPHONE)
        microphone = Microphone.opened(system, wanted)
    except DeviceError as error:
        write(str(error))
        return False
    write(f"listening to '{microphone.name}' at {microphone.rate_hz} Hz for {seconds:.0f} s ...")
    heard_s, level_dbfs, peak_dbfs = 0.0, [], -100.0
    try:
        while heard_s < seconds:
            block = microphone.get(1.0)
            if block is None:
                if microphone.state is MicState.DEAF:
                    break
                continue
            heard_s += block.duration_s
            level_dbfs.append(block.level_dbfs)
            peak_dbfs = max(peak_dbfs, block.peak_dbfs)
    finally:
        microphone.close()
    if level_dbfs:
        middle = sorted(level_dbfs)[len(level_dbfs) // 2]
        write(f"level {middle:.0f} dBFS, peak {peak_dbfs:.0f} dBFS, lost {microphone.overruns}")
    if microphone.trouble is not None:
        write(str(microphone.trouble))
    return microphone.trouble is None and bool(level_dbfs)


if __name__ == "__main__":
    named = sys.argv[1] if len(sys.argv) > 1 else None
    heard = report(PortAudio(), lambda line: print(one_line(line)), named)
    sys.exit(0 if heard else 1)
