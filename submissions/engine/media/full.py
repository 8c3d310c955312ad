"""A bare full decode, for measuring only: what a probe is compared with."""

from pathlib import Path

import av


def decode_all(path: Path | str) -> int:
    """Decode every frame of picture and sound on one processor; how many there were. Our own files only."""
    count = 0
    with av.open(str(path)) as container:
        streams = [*container.streams.video[:1], *container.streams.audio[:1]]
        for stream in streams:
            stream.codec_context.thread_count = 1
        for packet in container.demux(*streams):
            count += len(packet.decode())
    return count
