"""Finds the files that travel with the code: message texts, page templates, the example configuration."""

from __future__ import annotations

from pathlib import Path

from notify.core.errors import Misconfigured


def templates_folder(package: Path | None = None) -> Path:
    """The folder of templates: inside an installed wheel `notify/_templates`, in a work tree `templates`.

    `package` is the folder of the `notify` package; it is given only to look at another installation.
    Raises Misconfigured when neither is there, because then no page and no message can be made.
    """
    home = package or Path(__file__).resolve().parent
    for folder in (home / "_templates", home.parent / "templates"):
        if folder.is_dir():
            return folder
    raise Misconfigured("The templates are missing from this installation", "Install Shelfbell again.")


def example_config(package: Path | None = None) -> Path:
    """The commented example configuration, beside the templates in a wheel and at the top of a work tree."""
    home = package or Path(__file__).resolve().parent
    for file in (home / "_templates" / "config.example.toml", home.parent / "config.example.toml"):
        if file.is_file():
            return file
    raise Misconfigured("The example configuration is missing here", "Install Shelfbell again.")
