"""An environment in which nothing of the person at the machine is touched."""

import sys
from pathlib import Path


def private_environment(folder: Path) -> dict[str, str]:
    """Variables that put the workspace, settings and keys of a run below one folder.

    Parameters
    ----------
    folder
        A temporary folder. The system's keyring is not used at all.
    """
    places = ["XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"]
    places += {"win32": ["APPDATA", "LOCALAPPDATA"], "darwin": ["HOME"]}.get(sys.platform, [])
    return {
        **{name: str(folder / name.lower()) for name in places},
        "HIPWRIGHT_WORKSPACE": str(folder / "workspace"),
        "PYTHON_KEYRING_BACKEND": "keyring.backends.fail.Keyring",
    }
