"""Files that come with a plain form wait on the disk, and leave it when it is full."""

from django.core.files.uploadhandler import TemporaryFileUploadHandler


class SpooledFiles(TemporaryFileUploadHandler):
    """As Django's; what did not fit is removed at once, not when memory is next tidied."""

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        try:
            self._write(raw_data, start)
        except OSError:
            self.upload_interrupted()
            raise

    def _write(self, raw_data: bytes, start: int) -> None:
        super().receive_data_chunk(raw_data, start)
