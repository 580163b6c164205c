"""What is tuned, as data: the site file and its records, so that a worker needs nothing but becklight.

job = pack(site, changes=["house.daily_kwh=8"], flows="record.csv", fill_gaps=False)
site_of(job)                        # here, in another process or on another machine
with unpacked(job) as (site, flows):
    build_inputs(site, flows=flows, seed=1, days=30)
"""

import hashlib
import tempfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import becklight
import becksim
from becksim.errors import UserError
from becksim.site import Site, load_site
from becksim.streams import SYNTHETIC

OWN = "own"  # folder of the site's own record


@dataclass(frozen=True)
class Job:
    """A site and the flows to replay it with.

    Parameters
    ----------
    name : str
        The site file's name.
    files : tuple of (str, bytes)
        The site file, the site's own gauge record if it is used, and the one of --flows, each by its name
        and compressed.
    changes : tuple of str
        What the site was loaded with, "table.key=value".
    flows : str or None
        "synthetic", the name of one of the files, or None for the site's own.
    fill_gaps : bool
        As for a replay.
    code : str
        Fingerprint of the program that packed it.
    """

    name: str
    files: tuple[tuple[str, bytes], ...]
    changes: tuple[str, ...]
    flows: str | None
    fill_gaps: bool
    code: str

    @property
    def has_record(self) -> bool:
        """Whether there is a gauge record beside the made-up stream."""
        return self.flows != SYNTHETIC

    @property
    def sha256(self) -> str:
        """Fingerprint of all but the program."""
        digest = hashlib.sha256(repr((self.name, self.changes, self.flows, self.fill_gaps)).encode())
        for name, packed in self.files:
            digest.update(f"\n{name}\n".encode() + zlib.decompress(packed))
        return digest.hexdigest()


def pack(
    site: Site, *, changes: Sequence[str] = (), flows: str | None = None, fill_gaps: bool = False
) -> Job:
    """Gather the files.

    Parameters
    ----------
    site : Site
        As it was loaded with the changes.
    changes : sequence of str
        What it was loaded with.
    flows : str, optional
        Gauge CSV, or "synthetic"; default: the site's own gauge record, else synthetic.
    fill_gaps : bool
        As for a replay.

    Raises
    ------
    UserError
        If a file cannot be read.
    """
    own = site.stream.gauge
    paths = [(site.path.name, site.path)]
    if flows is None and own is None:
        flows = SYNTHETIC
    elif flows is None and own is not None:
        paths.append((f"{OWN}/{Path(own.file).name}", site.path.parent / own.file))
    elif flows is not None and flows != SYNTHETIC:
        paths.append((f"flows/{Path(flows).name}", Path(flows)))
        flows = paths[-1][0]
    files = tuple((name, zlib.compress(_read(path), 6)) for name, path in paths)
    return Job(site.path.name, files, tuple(changes), flows, fill_gaps, code_fingerprint())


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise UserError(f"{path} cannot be read ({error.strerror}).") from error


@contextmanager
def unpacked(job: Job) -> Iterator[tuple[Site, str | None]]:
    """The site, and what stands for it behind --flows; its files are there for as long as this lasts.

    A worker may be ended at any moment and tidies nothing up: so they are not there for longer.

    Parameters
    ----------
    job : Job
        As `pack` made it.
    """
    with tempfile.TemporaryDirectory(prefix="becklight-tune-") as name:
        folder = Path(name)
        for file, packed in job.files:
            path = folder / file
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(zlib.decompress(packed))
        site = load_site(str(folder / job.name), job.changes)
        own = site.stream.gauge
        if job.flows is None and own is not None:  # wherever it stood, here it stands there
            gauge = replace(own, file=f"{OWN}/{Path(own.file).name}")
            site = replace(site, stream=replace(site.stream, gauge=gauge))
        yield site, job.flows if job.flows in (None, SYNTHETIC) else str(folder / str(job.flows))


@lru_cache(maxsize=4)
def site_of(job: Job) -> Site:
    """The site, without its files; read once in a process.

    Parameters
    ----------
    job : Job
        As `pack` made it.
    """
    with unpacked(job) as (site, _):
        return site


@lru_cache(maxsize=1)
def code_fingerprint() -> str:
    """Of all Python files of both packages: the same program gives the same figures."""
    digest = hashlib.sha256()
    for package in (becklight, becksim):
        root = Path(str(package.__file__)).parent
        for path in sorted(root.rglob("*.py"), key=lambda path: path.relative_to(root).as_posix()):
            digest.update(path.relative_to(root).as_posix().encode() + b"\n" + path.read_bytes())
    return digest.hexdigest()[:16]
