"""A bad line: a relay between browser and server that can cut connections and slow them down."""

import contextlib
import random
import socket
import threading
import time


class BadLine:
    """Relays to a port of this machine. cut_after(n) cuts each upload connection after about n bytes, `cuts` times."""

    def __init__(self, port: int, seed: int = 1) -> None:
        self.port_behind = port
        self.random = random.Random(seed)
        self.cuts_left = 0
        self.cuts_made = 0
        self.mean_bytes = 0
        self.bytes_a_second = 0
        self.server = socket.create_server(("127.0.0.1", 0))
        self.port = self.server.getsockname()[1]
        self.open = True
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def url(self) -> str:
        return f"http://localhost:{self.port}"

    def cut(self, times: int, mean_bytes: int) -> None:
        """From now on, cut so many connections, each after a random number of sent bytes around the mean."""
        self.cuts_left, self.mean_bytes = times, mean_bytes

    def close(self) -> None:
        self.open = False
        self.server.close()

    def _accept(self) -> None:
        while self.open:
            try:
                client, _ = self.server.accept()
            except OSError:
                return
            behind = socket.create_connection(("127.0.0.1", self.port_behind))
            threading.Thread(target=self._carry, args=(client, behind, True), daemon=True).start()
            threading.Thread(target=self._carry, args=(behind, client, False), daemon=True).start()

    def _carry(self, source: socket.socket, target: socket.socket, upwards: bool) -> None:
        carried, limit = 0, None
        try:
            while piece := source.recv(16_384):
                if upwards and limit is None and self.cuts_left and b"PATCH /uploads/" in piece:
                    limit = carried + self.random.randrange(1, 2 * self.mean_bytes)
                if limit is not None and carried + len(piece) > limit:
                    target.sendall(piece[: limit - carried])
                    self.cuts_left -= 1
                    self.cuts_made += 1
                    break
                target.sendall(piece)
                carried += len(piece)
                if upwards and self.bytes_a_second and len(piece) > 4_000:
                    time.sleep(len(piece) / self.bytes_a_second)
        except OSError:
            pass
        for end in (source, target):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()
