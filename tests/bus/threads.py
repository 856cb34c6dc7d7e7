"""Work that goes on until the block ends."""

import threading


class Running:
    def __init__(self, work):
        self._stop = threading.Event()
        self._thread = threading.Thread(target=work, args=(self._stop,))

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._stop.set()
        self._thread.join(60)
