"""Runs an app to its end: a defect in it restores the terminal and is raised, not painted."""

from __future__ import annotations

from textual.app import App


class WholeApp(App[None]):
    """An app whose defects are raised to its caller."""

    defect: Exception | None = None

    def _handle_exception(self, error: Exception) -> None:
        """Keep the first defect; Textual would print it and exit as if all were well."""
        if self.defect is None:
            self.defect = error
        super()._handle_exception(error)

    def _print_error_renderables(self) -> None:
        """Print nothing: the caller reports it in a sentence."""
        self._exit_renderables.clear()


def shown_whole(app: WholeApp) -> None:
    """Run ``app`` until the person leaves. Raises what ended it, once the terminal is restored."""
    app.run()
    if app.defect is not None:
        raise app.defect
