"""What lies between a phone and its server: it counts, and fails when it is told to."""

import socket
import struct
import threading
import time


class Link:
    """What lies between phone and server: counts what the phone sends, and fails when told to.

    After each of ``cuts`` (bytes sent in all) the connection is reset; after ``holds`` bytes
    nothing goes through any more, though both ends believe that they are connected. Each 64 kB wait
    for ``slow_s``.
    """

    def __init__(self, target: tuple[str, int]) -> None:
        self.sent, self.cuts, self.holds, self.slow_s = 0, [], None, 0.0
        self._target = target
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        self._server.close()

    def _accept(self) -> None:
        while True:
            try:
                phone, _ = self._server.accept()
            except OSError:
                return
            server = socket.create_connection(self._target)
            for pump in (self._up, self._down):
                threading.Thread(target=pump, args=(phone, server), daemon=True).start()

    def _up(self, phone: socket.socket, server: socket.socket) -> None:
        held = False  # for ever: what comes after a gap must not be taken for what was lost
        try:
            while data := phone.recv(1 << 16):
                held = held or (self.holds is not None and self.sent >= self.holds)
                if held:
                    continue
                time.sleep(self.slow_s)
                server.sendall(data)
                self.sent += len(data)
                if self.cuts and self.sent >= self.cuts[0]:
                    self.cuts.pop(0)
                    _reset(phone)
                    break
        except OSError:
            pass
        _shut(server)

    def _down(self, phone: socket.socket, server: socket.socket) -> None:
        try:
            while data := server.recv(1 << 16):
                phone.sendall(data)
        except OSError:
            pass
        _shut(phone)


def _shut(end: socket.socket) -> None:
    try:
        end.shutdown(socket.SHUT_RDWR)
    except OSError:  # already
        pass


def _reset(end: socket.socket) -> None:
    """Not an end, but a break: the other side gets a reset."""
    end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    end.close()
