"""The app of a watch: its pages, its feed and what acts on it."""

import dash

from dashboard.access import Gate
from dashboard.action_routes import acting_routes
from dashboard.base_app import base_app, guard
from dashboard.feed import Feed, feed_routes
from dashboard.health import health_routes
from dashboard.learn_routes import learning_routes
from dashboard.login_routes import login_routes
from dashboard.pages import FIRST_PAGES, PAGES
from dashboard.passphrase import Passphrase, default_path
from dashboard.plan_routes import plan_routes
from dashboard.replay_routes import replay_routes
from dashboard.server import DEFAULT_HOST, DEFAULT_PORT, PageOptions, Server
from dashboard.views.guide import guide_strip
from dashboard.views.replay_bar import replay_bar
from dashboard.views.shell import shell
from dashboard.watch import WatchLike
from dashboard.worker_pool import WorkerPool
from monitor.runtime.mirror import MirroredWatch
from monitor.runtime.replay import Replay

__all__ = ["PageOptions", "PageServer", "create_app"]


def create_app(
    watch: WatchLike,
    gate: Gate | None = None,
    passphrase: Passphrase | None = None,
    *,
    insist_on_encryption: bool = False,
    guided: bool = False,
) -> dash.Dash:
    """The Dash app: pages, feed and acting. Only this machine looks without a gate, and links alone let devices act without a passphrase."""
    gate = gate or Gate()
    replay = watch if isinstance(watch, Replay) else None
    app = base_app(f"{'' if replay is None else 'Replay: '}{watch.layout.title} – pilotlamp")
    pool = app.server.extensions[WorkerPool.__name__] = WorkerPool()
    is_set_up = bool(watch.layout.board)
    for page in PAGES if is_set_up else FIRST_PAGES:
        page.register(app, watch)
    if replay is not None:
        _name_replay()
    menu = [(p["name"], p["path"]) for p in dash.page_registry.values() if p["in_menu"]]
    bar = replay_bar(replay) if replay is not None else guide_strip() if guided else None
    app.layout = lambda: shell(watch.layout.title, menu, bar=bar, is_set_up=is_set_up)
    viewer_came = watch.viewer_came if isinstance(watch, MirroredWatch) else lambda: None
    app.server.register_blueprint(feed_routes(Feed(watch), viewer_came))
    app.server.register_blueprint(acting_routes(watch, gate))
    app.server.register_blueprint(plan_routes(watch))
    app.server.register_blueprint(learning_routes(watch, pool))
    if replay is not None:
        app.server.register_blueprint(replay_routes(replay))
    app.server.register_blueprint(login_routes(gate, passphrase))
    app.server.register_blueprint(health_routes(watch))
    guard(app, gate, insist_on_encryption=insist_on_encryption)
    return app


def _name_replay() -> None:
    """Say in menu and tabs that the pages show a replay."""
    for page in dash.page_registry.values():
        page["title"] = f"Replay: {page['title'].removesuffix(' – live')}"
        if page["path"] == "/":
            page["name"] = "Replay"


class PageServer(Server):
    """Serves the pages of a watch; arguments as for :class:`Server`.

    Raises:
        PageError: The port is taken or may not be opened, or the certificate is of no use.
    """

    def __init__(
        self, watch: WatchLike, host: str = DEFAULT_HOST, port: int = DEFAULT_PORT, options: PageOptions | None = None
    ) -> None:
        self._pool: WorkerPool | None = None
        self._watch = watch
        passphrase = Passphrase((options.passphrase_file if options is not None else None) or default_path())

        def make(gate: Gate, insist_on_encryption: bool) -> dash.Dash:  # noqa: FBT001 - the server's own form
            if self._pool is not None:
                self._pool.close()
            guided = options is not None and options.guided
            app = create_app(self._watch, gate, passphrase, insist_on_encryption=insist_on_encryption, guided=guided)
            self._pool = app.server.extensions.get(WorkerPool.__name__)
            return app

        super().__init__(make, host, port, options)

    def renew(self, watch: WatchLike) -> None:
        """Show another watch from now on; browsers are made to load the page again, who may act still may."""
        self._watch = watch
        self._app.serve(self._make().server)

    def close(self) -> None:
        """Stop answering; end the workers."""
        super().close()
        if self._pool is not None:
            self._pool.close()
