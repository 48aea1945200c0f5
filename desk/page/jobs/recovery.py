"""What a killed server left half done is finished when the next one starts, before it answers."""

import logging
from contextlib import suppress
from pathlib import Path

from snugline.desk.page.jobs.job_folders import Shelf, refuse_links
from snugline.desk.page.jobs.photo_moves import complete_moves
from snugline.desk.result_folder import settle_all
from snugline.errors import SnuglineError
from snugline.files import is_link, remove_unfinished


def recover(shelf: Shelf) -> None:
    """Photo moves, result folders and temporary files of every job; an odd job stops no other."""
    remove_unfinished(shelf.folder / ".snugline")
    for job in shelf.jobs():
        try:
            refuse_links(job)
            complete_moves(job)
            settle_all(job.parent)
            _clear(job.parent / ".snugline")
        except (SnuglineError, OSError) as error:
            logging.getLogger("snugline.page").warning("%s: %s", job.parent.name, error)


def _clear(own: Path) -> None:
    """Temporary files, and uploads of which the rest will never come."""
    remove_unfinished(own)
    with suppress(FileNotFoundError):
        for folder in own.iterdir():
            if folder.is_dir() and not is_link(folder):
                remove_unfinished(folder)
    if not is_link(own / "incoming"):
        for half in (own / "incoming").glob("photo-*"):
            half.unlink(missing_ok=True)
