"""The switchboard: the one place that hands adapters to workflows.

Adapters are imported where they are used, so that a command pays only for its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from hipwright import __version__
from hipwright.adapters.machine import Places, SystemClock, places
from hipwright.domain.errors import KeepingError
from hipwright.workflows.keep_workspace import (
    BackupReport,
    Check,
    Examination,
    RestoreReport,
    examine,
)

if TYPE_CHECKING:
    from hipwright.adapters.identity.keeper import EncryptedIdentityKeeper
    from hipwright.adapters.identity.key_places import KeyPlace
    from hipwright.adapters.store.keeper import DatabaseKeeper
    from hipwright.domain.keeping_bones import Job
    from hipwright.workflows.bone_ports import BoneFiles, MeshFiles
    from hipwright.workflows.build_bones import BoneWorkshop
    from hipwright.workflows.build_demonstration import Clinic
    from hipwright.workflows.export_bones import MeshWriters
    from hipwright.workflows.import_meshes import MeshBench
    from hipwright.workflows.ports import Dock, Progress, VolumeReader
    from hipwright.workflows.read_study import Importer

SOFTWARE = f"hipwright {__version__}"


class Workspace:
    """An open workspace: its keeper, and its identity store where somebody asks for it."""

    def __init__(self, where: Places, keeper: DatabaseKeeper, now: Callable[[], datetime]) -> None:
        self.where = where
        self.keeper = keeper
        self._now = now

    @property
    def folder(self) -> Path:
        """The workspace's folder."""
        return self.where.workspace

    @cached_property
    def identity(self) -> EncryptedIdentityKeeper:
        """Who is who; made with a new key at first use.

        Raises
        ------
        IdentityError
            The key is missing or belongs to another workspace.
        """
        from hipwright.adapters.identity.keeper import open_identity
        from hipwright.adapters.store.workspace_folder import IDENTITY

        return open_identity(
            self.folder / IDENTITY,
            key_places(self.where),
            workspace=self.keeper.workspace,
            device=self.keeper.device,
            now=self._now,
        )

    def close(self) -> None:
        """Let go of the database."""
        self.keeper.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_workspace(
    workspace: Path | None = None,
    *,
    create: bool = False,
    by: str = "human:local",
    database_url: str | None = None,
    busy_timeout_s: float = 5.0,
) -> Workspace:
    """Open the workspace; with ``create`` it is made where there is none.

    Parameters
    ----------
    workspace
        Its folder; left out, ``HIPWRIGHT_WORKSPACE`` or the user's data folder.
    by
        Who changes things, where a transaction does not say.
    database_url
        A PostgreSQL database; left out, ``HIPWRIGHT_DATABASE_URL`` or the folder's own.

    Raises
    ------
    KeepingError
        It cannot be opened or made; the message says what to do.
    """
    from hipwright.adapters.store.device import device_id
    from hipwright.adapters.store.workspace_folder import Opening, open_folder

    where = places(workspace, database_url=database_url)
    clock = SystemClock()
    opening = Opening(
        device=device_id(where.config / "device"),
        by=by,
        software=SOFTWARE,
        now=clock.now,
        busy_timeout_s=busy_timeout_s,
    )
    keeper = open_folder(where.workspace, opening, create=create, database_url=where.database_url)
    return Workspace(where, keeper, clock.now)


def key_places(where: Places) -> list[KeyPlace]:
    """Where identity keys are looked for; new ones go to the last that takes them."""
    from hipwright.adapters.identity.key_places import KeyFile, SystemKeyring

    if where.key_file is not None:
        return [KeyFile(where.key_file)]
    return [KeyFile(where.config / "identity-keys"), SystemKeyring()]


def loading_dock(opened: Workspace) -> Dock:
    """The dock that reads DICOM and pictures for this workspace."""
    from hipwright.adapters.archives.finder import FileFinder
    from hipwright.adapters.dicom.dock import LoadingDock
    from hipwright.adapters.pictures.reading import PictureReader

    return LoadingDock(
        identities=lambda: opened.identity,
        new_id=opened.keeper.new_id,
        finder=FileFinder(),
        pictures=PictureReader(),
    )


def volume_reader() -> VolumeReader:
    """What reads kept series as volumes."""
    from hipwright.adapters.dicom.volumes import DicomVolumeReader

    return DicomVolumeReader()


def bone_files() -> BoneFiles:
    """What writes and reads surfaces, labels and hand edits."""
    from hipwright.adapters.bone_files.files import WorkspaceBoneFiles

    return WorkspaceBoneFiles()


def mesh_writers() -> MeshWriters:
    """What writes surfaces for other programs."""
    from hipwright.adapters.mesh_files.writing import glb_bytes, ply_bytes, stl_bytes
    from hipwright.workflows.export_bones import MeshWriters

    return MeshWriters(stl=stl_bytes, ply=ply_bytes, glb=glb_bytes)


def mesh_reader() -> MeshFiles:
    """What reads meshes made elsewhere."""
    from hipwright.adapters.mesh_files.reading import MeshReader

    return MeshReader()


def mesh_bench() -> MeshBench:
    """What meshes made elsewhere are taken in with."""
    from hipwright.workflows.bone_engines import EngineBones
    from hipwright.workflows.import_meshes import MeshBench

    return MeshBench(
        reader=mesh_reader(),
        files=bone_files(),
        maker=EngineBones(),
        clock=SystemClock(),
        software=SOFTWARE,
    )


def bone_workshop(opened: Workspace) -> BoneWorkshop:
    """What bones are made with, in this workspace."""
    from hipwright.adapters.jobs.checkpoints import CheckpointFolder
    from hipwright.workflows.bone_engines import EngineBones
    from hipwright.workflows.build_bones import BoneWorkshop

    return BoneWorkshop(
        reader=volume_reader(),
        files=bone_files(),
        maker=EngineBones(),
        checkpoints=CheckpointFolder(opened.folder / "unfinished"),
        clock=SystemClock(),
        software=SOFTWARE,
    )


def start_bones_job(opened: Workspace, image: str) -> Job:
    """Begin to make the bones of a series in a process of its own, or find it under way."""
    from hipwright.adapters.jobs.processes import start_process
    from hipwright.workflows.run_job import BONES, new_job

    found = opened.keeper.image(image)
    job, is_new = new_job(opened.keeper, BONES, found.id, SystemClock())
    if is_new:
        start_process("hipwright.apps.cli.job_process", [str(opened.folder.resolve()), job.id])
    return job


def bones_job(opened: Workspace, image: str) -> Job | None:
    """The newest job that makes the bones of a series; one whose process died says so."""
    from hipwright.workflows.run_job import BONES, newest_job

    return newest_job(opened.keeper, BONES, opened.keeper.image(image).id, SystemClock())


def cancel_job(opened: Workspace, job: str) -> Job:
    """Ask for a job to be given up."""
    return opened.keeper.ask_to_cancel(job)


def job_work(opened: Workspace, job: Job) -> Callable[[Progress], str]:
    """What a job does: takes a progress, gives the id of what it made."""
    from hipwright.workflows.bone_series import series_of_scan
    from hipwright.workflows.build_bones import build_bones
    from hipwright.workflows.run_job import BONES, unknown_kind

    if job.kind != BONES:
        raise unknown_kind(job)

    def make_bones(progress: Progress) -> str:
        workshop = bone_workshop(opened)
        images = series_of_scan(opened.keeper, workshop.reader, job.subject)
        return build_bones(opened.keeper, images, workshop, progress=progress).id

    return make_bones


def importer(opened: Workspace) -> Importer:
    """What takes studies into this workspace."""
    from hipwright.workflows.read_study import Importer

    return Importer(
        keeper=opened.keeper,
        identities=opened.identity,
        dock=loading_dock(opened),
        clock=SystemClock(),
    )


def demonstration_clinic(opened: Workspace) -> Clinic:
    """What the demonstration clinic is made with, in this workspace."""
    from hipwright.adapters.dicom.demonstration_studio import ProcessStudio
    from hipwright.adapters.shape_model_files import read_shape_model
    from hipwright.workflows.build_demonstration import Clinic

    return Clinic(
        keeper=opened.keeper,
        identities=opened.identity,
        importer=importer(opened),
        studio=ProcessStudio(read_shape_model),
        clock=SystemClock(),
    )


def back_up(
    opened: Workspace, target: Path, *, passphrase: str | None, progress: Progress
) -> BackupReport:
    """Write the whole workspace into one file, with its identity key if a passphrase is given."""
    from hipwright.adapters.identity.identity_file import IdentityFile
    from hipwright.adapters.identity.key_wrapping import wrap
    from hipwright.adapters.store.backup import BackupOrder, write_backup
    from hipwright.adapters.store.workspace_folder import IDENTITY

    file = IdentityFile(opened.folder / IDENTITY)
    order = BackupOrder(
        engine=opened.keeper.transactions.engine,
        folder=opened.folder,
        workspace=opened.keeper.workspace,
        key=None if passphrase is None else wrap(opened.identity.key, passphrase),
        key_id=file.facts()["key"] if file.is_made() else None,
        made_at=SystemClock().now(),
        software=SOFTWARE,
    )
    return write_backup(target, order, progress=progress)


def restore(
    backup: Path,
    where: Places,
    *,
    ask_passphrase: Callable[[], str | None],
    progress: Progress,
) -> RestoreReport:
    """Bring a backup back into a new folder; its key too, if this machine lacks it.

    ``ask_passphrase`` is called only if the backup brings a key that is not here;
    ``None`` leaves the key out.
    """
    from hipwright.adapters.identity.key_places import keep_key
    from hipwright.adapters.identity.key_wrapping import unwrap
    from hipwright.adapters.store.connections import open_postgresql
    from hipwright.adapters.store.restore import read_backup, restore_into

    read = read_backup(backup)
    keys = key_places(where)
    is_here = read.key_id is not None and any(place.find(read.key_id) for place in keys)
    unwrapped = None
    if read.key is not None and not is_here and (passphrase := ask_passphrase()) is not None:
        unwrapped = unwrap(read.key, passphrase)
    engine = open_postgresql(where.database_url) if where.database_url else None
    try:
        restore_into(where.workspace, read, engine=engine, progress=progress)
    finally:
        if engine is not None:
            engine.dispose()
    if unwrapped is not None:
        keep_key(keys, unwrapped)
    return RestoreReport(
        files=read.files,
        damaged=read.damaged,
        made_at=read.made_at,
        software=read.software,
        with_identity=read.with_identity,
        key_id=read.key_id,
        key_came_along=read.key is not None,
        key_is_here=is_here or unwrapped is not None,
    )


def check_up(where: Places, *, quick: bool, progress: Progress) -> list[Check]:
    """Look the installation and the workspace over, as `hipwright doctor` does."""
    from hipwright.adapters.identity.examination import identity_checks
    from hipwright.adapters.installation import installation_checks
    from hipwright.adapters.store import examination as store
    from hipwright.adapters.store.workspace_folder import (
        IDENTITY,
        open_database,
        read_mark,
    )

    folder, now = where.workspace, SystemClock().now
    looks: list[Examination] = [
        ("installation", installation_checks),
        ("workspace", lambda: store.folder_checks(folder)),
    ]
    try:
        mark = read_mark(folder)
    except KeepingError:
        mark = None  # which folder_checks tells
    if mark is None:
        return examine(looks)
    if not where.database_url and not store.has_database(folder):
        return examine([*looks, ("database", store.absent_database_checks)])
    engine = open_database(folder, where.database_url)

    def files() -> Iterable[Check]:
        moment = now().timestamp()
        return store.file_checks(engine, folder, now=moment, quick=quick, progress=progress)

    def identity() -> Iterable[Check]:
        return identity_checks(
            folder / IDENTITY, key_places(where), workspace=mark.workspace, device="", now=now
        )

    looks += [
        ("schema", lambda: store.schema_checks(engine)),
        ("database", lambda: store.row_checks(engine)),
        ("files", files),
        ("identity", identity),
    ]
    try:
        return examine(looks)
    finally:
        engine.dispose()


def collect_orphans(opened: Workspace) -> int:
    """Remove files that nothing refers to and that are older than a day."""
    from hipwright.adapters.store.orphans import collect

    keeper = opened.keeper
    moment = SystemClock().now().timestamp()
    return collect(keeper.transactions.engine, keeper.files, now=moment)
