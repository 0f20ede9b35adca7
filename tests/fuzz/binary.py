"""Files of samples that libraries read, under the fuzzer: what carries a checksum holds what was written, or is refused."""

import io

import numpy as np

from tests.fuzz.common import NAMES, FoundError, sensor, signals, table
from tests.fuzz.forks import Forks


class Hdf5:
    """HDF5, in blocks and whole: old and new structures, filters, links and types."""

    suffix = ".h5"

    def __init__(self):
        from imustride.loaders.hdf5 import read, read_blocks

        self.read, self.read_blocks = read, read_blocks
        self.sensor = sensor(acceleration="acc", angular_velocity="gyr")

    def seeds(self):
        import h5py

        values = signals()
        for libver in ("earliest", "latest"):
            for options in (
                {},
                {"chunks": True, "compression": "gzip", "shuffle": True, "fletcher32": True},
                {"chunks": (7, 3), "compression": "lzf", "fletcher32": True},
            ):
                buffer = io.BytesIO()
                with h5py.File(buffer, "w", libver=libver) as file:
                    for name, block in (("t", values[:, 0]), ("acc", values[:, 1:4]), ("gyr", values[:, 4:])):
                        own = dict(options)
                        if own and block.ndim == 1:
                            own["chunks"] = (9,)
                        file.create_dataset(f"left/{name}", data=block, **own)
                    if not options:
                        file["left/soft"] = h5py.SoftLink("/left/acc")
                        file["left/text"] = "text"
                yield buffer.getvalue()

    def check(self, path, data):
        path.write_bytes(data)
        found = table(self.read(path, "/left", self.sensor))
        blocks = [table(block) for block in self.read_blocks(path, "/left", self.sensor, 10)]
        if not np.array_equal(np.concatenate(blocks), found, equal_nan=True):
            message = "blocks differ from the whole"
            raise FoundError(message)
        if self.is_checked(path) and not np.array_equal(found, signals()):
            message = "a failed checksum passed as data"
            raise FoundError(message)

    @staticmethod
    def is_checked(path):
        """Whether the structures carry checksums (superblock 2 and later) and all three datasets too."""
        import h5py

        with h5py.File(path, "r") as file:
            return file.id.get_create_plist().get_version()[0] >= 2 and all(
                file[f"left/{name}"].fletcher32 for name in ("t", "acc", "gyr")
            )


class Parquet:
    """Parquet: pages with checksums, old and new, packed and plain, by names and by numbers in a dictionary."""

    suffix = ".parquet"

    def __init__(self):
        from imustride.loaders import apart
        from imustride.loaders.parquet import read, read_blocks

        apart.subprocess = Forks("pyarrow.parquet")
        self.read, self.read_blocks = read, read_blocks
        self.sensor = sensor()
        self.intact = {self.footer(seed): self.values(at) for at, seed in enumerate(self.seeds())}

    @staticmethod
    def values(at):
        """Values of a seed: each its own, so that a footer belongs to one."""
        return signals() * 2**at

    def seeds(self):
        import pyarrow as pa
        from pyarrow import parquet

        kinds = (
            {"compression": "none", "use_dictionary": False},
            {"compression": "snappy"},
            {"compression": "gzip", "data_page_version": "2.0", "use_dictionary": False},
            {"compression": "zstd", "use_byte_stream_split": True, "use_dictionary": False},
            {"compression": "none", "row_group_size": 7, "data_page_size": 64},
        )
        for at, options in enumerate(kinds):
            buffer = io.BytesIO()
            columns = pa.table(dict(zip(NAMES, self.values(at).T, strict=True)))
            parquet.write_table(columns, buffer, write_page_checksum=True, **options)
            yield buffer.getvalue()

    @staticmethod
    def footer(data):
        """What a file tells of itself at its end; no checksum guards it."""
        return data[-8 - int.from_bytes(data[-8:-4], "little") :]

    def check(self, path, data):
        path.write_bytes(data)
        found = table(self.read(path, None, self.sensor))
        blocks = [table(block) for block in self.read_blocks(path, None, self.sensor, 10)]
        if not np.array_equal(np.concatenate(blocks), found, equal_nan=True):
            message = "blocks differ from the whole"
            raise FoundError(message)
        wanted = self.intact.get(self.footer(data))
        if wanted is not None and not np.array_equal(found, wanted):
            message = "a failed checksum passed as data"
            raise FoundError(message)
