"""A real JupyterLab in a real browser: one server and one browser for all tests, a page a notebook, and its errors
collected."""

import json
import os
import re
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import linetilt
import pytest
from linetilt.app.command import CONFIG, arguments
from linetilt.session import keep_rules, standing

ROOT = Path(__file__).parents[2]
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
WAIT_S = 90
BEYOND = re.compile(
    r"^(https?|wss?)://(?!127\.0\.0\.1[:/])|/lab/api/(update|news)"
)  # other machines, and what has JupyterLab ask them
FAILED = '[data-mime-type="application/vnd.jupyter.stderr"]'  # text on stderr, and tracebacks
RAN = f"""() => {{
    const prompts = [...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')].map(prompt => prompt.innerText);
    return document.querySelector('{FAILED}') || prompts.every(text => /[0-9]/.test(text));
}}"""
SETTINGS = {
    "apputils-extension/notification": {
        "fetchNews": "false",
        "checkForUpdates": True,
    },  # as after the question for news was answered with no
    "notebook-extension/tracker": {"windowingMode": "none"},  # all cells are in the page, also those out of sight
}


def cleared(notebook):
    """Return the notebook without outputs and counts, so that what a test sees is of its own run."""
    for cell in notebook["cells"]:
        if cell["cell_type"] == "code":
            cell.update(outputs=[], execution_count=None)
    return notebook


class Server:
    """A JupyterLab server over a copy of the notebooks and their demo data.

    With a `book` it is started as a fitter starts it, by ``python -m linetilt``; without one every notebook has a trial
    book of its own.
    """

    def __init__(self, folder, book=None):
        self.root = folder / "root"
        self.token = secrets.token_hex(16)
        for name in ("notebooks", "demo_photos", *(["kit"] if book else [])):
            if (ROOT / name).is_dir():
                shutil.copytree(
                    ROOT / name, self.root / name, ignore=shutil.ignore_patterns(".ipynb_checkpoints", "__pycache__")
                )
        for file in self.root.glob("notebooks/*.ipynb"):
            file.write_text(json.dumps(cleared(json.loads(file.read_text()))))
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        for name, settings in SETTINGS.items():
            file = folder / "settings" / "@jupyterlab" / f"{name}.jupyterlab-settings"
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(json.dumps(settings))
        kit = str(self.root / "kit" if book else Path(linetilt.__file__).parents[1])
        env = os.environ | {f"JUPYTER_{name}_DIR": str(folder / name.lower()) for name in ("CONFIG", "DATA", "RUNTIME")}
        env |= {
            "JUPYTERLAB_SETTINGS_DIR": str(folder / "settings"),
            "JUPYTERLAB_WORKSPACES_DIR": str(folder / "workspaces"),
            "PYTHONPATH": os.pathsep.join(filter(None, [kit, os.environ.get("PYTHONPATH")])),
        }
        if not book:
            env["JUPYTER_CONFIG_PATH"] = str(CONFIG)
        start = ["linetilt", str(book)] if book else ["jupyterlab", *arguments(root=self.root)]
        command = [
            sys.executable,
            "-m",
            *start,
            "--no-browser",
            "--allow-root",
            "--ip=127.0.0.1",
            f"--port={self.port}",
            "--ServerApp.port_retries=0",
            f"--IdentityProvider.token={self.token}",
        ]
        self._log = open(folder / "server.log", "wb")
        self._process = subprocess.Popen(command, stdout=self._log, stderr=subprocess.STDOUT, env=env, cwd=folder)
        deadline = time.monotonic() + WAIT_S
        while True:
            try:
                self.api("status")
                return
            except OSError as error:
                if self._process.poll() is not None or time.monotonic() > deadline:
                    self.stop()
                    raise RuntimeError((folder / "server.log").read_text()[-2000:]) from error
                time.sleep(0.2)

    def api(self, path):
        """Return what the server's API says, from JSON."""
        with urllib.request.urlopen(
            f"http://127.0.0.1:{self.port}/api/{path}?token={self.token}", timeout=10
        ) as answer:
            return json.load(answer)

    def url(self, notebook):
        """Return the address that opens a notebook in a fresh workspace."""
        return f"http://127.0.0.1:{self.port}/lab/tree/{notebook}?token={self.token}&reset"

    def wait_idle(self, notebook, connected=True):
        """Wait until the notebook's kernel is idle and a page is connected to it, or none is any more."""
        deadline = time.monotonic() + WAIT_S
        while time.monotonic() < deadline:
            kernels = [session["kernel"] for session in self.api("sessions") if session["path"] == notebook]
            if kernels and kernels[0]["execution_state"] == "idle" and (kernels[0]["connections"] > 0) == connected:
                return
            time.sleep(0.1)
        raise TimeoutError(f"no idle kernel for {notebook}")

    def stop(self):
        """End the server and wait for it."""
        self._process.terminate()
        try:
            self._process.wait(20)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(20)
        self._log.close()


@pytest.fixture(scope="session")
def lab_server(browser, tmp_path_factory):
    """The running JupyterLab server."""
    server = Server(tmp_path_factory.mktemp("lab"))
    yield server
    server.stop()


@pytest.fixture(scope="session")
def browser():
    """A headless Chromium, driven by Playwright; tests are skipped where there is none."""
    sync_api = pytest.importorskip(
        "playwright.sync_api", reason="the browser driver is not installed: pip install playwright"
    )
    path = next(filter(None, map(shutil.which, BROWSERS)), None)
    if path is None:
        pytest.skip(f"no browser found (looked for {', '.join(BROWSERS)}): apt-get install chromium")
    with sync_api.sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=path, headless=True, args=FLAGS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def demo_table():
    """Return a function that gives the `Standing` of the invented afternoon by some rules: what the third notebook has
    to show."""
    with linetilt.open_book(demo=ROOT / "demo_photos", measured=True) as book:

        def table(**rules):
            keep_rules(book, 1, step_deg=0.25, cap_deg=None)
            keep_rules(book, 1, **rules)
            return standing(book)

        yield table


class Pages:
    """Notebooks open in a browser; used as a context, at whose end every page must be free of script errors, tracebacks
    and text on stderr, and must have asked nobody else for anything."""

    def __init__(self, server, browser):
        self._server, self._browser, self._opened = server, browser, []

    def __enter__(self):
        return self

    def __exit__(self, *failure):
        wrong = []
        for page, errors in self._opened:
            wrong += errors
            wrong += [f"on stderr, or a traceback: {text}" for text in page.locator(FAILED).all_inner_texts()]
            page.close()
        assert failure[0] or not wrong, wrong

    def run(self, name):
        """Open `notebooks/<name>`, run all its cells and return the page."""
        path = f"notebooks/{name}"
        page = self._browser.new_page(viewport={"width": 1280, "height": 800})
        errors = []
        self._opened.append((page, errors))
        page.on("pageerror", lambda error: errors.append(f"script error in the page: {error}"))
        page.on(
            "request",
            lambda request: errors.append(f"asked the net: {request.url}") if BEYOND.search(request.url) else None,
        )
        self._load(page, path)
        return page

    def load_again(self, page, name):
        """Load the page anew, the kernel living on, and run all cells."""
        page.once("dialog", lambda dialog: dialog.accept())  # leave it although the notebook's own file is not saved
        page.goto("about:blank")
        self._server.wait_idle(f"notebooks/{name}", connected=False)
        self._load(page, f"notebooks/{name}")

    def _load(self, page, path):
        page.goto(self._server.url(path), wait_until="domcontentloaded")
        page.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=1000 * WAIT_S)
        self._server.wait_idle(path)
        menu(page, "run-all")
        self._wait_ran(page, path)

    def start_again(self, page, name):
        """Restart the kernel and run all cells."""
        menu(page, "restart-and-run-all")
        page.locator(".jp-Dialog .jp-mod-accept").click()
        page.wait_for_function(
            "() => ![...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')].every(p => "
            "/[0-9]/.test(p.innerText))"
        )
        self._wait_ran(page, f"notebooks/{name}")

    def _wait_ran(self, page, path):
        page.wait_for_function(RAN, timeout=1000 * WAIT_S)
        assert not page.locator(FAILED).count(), page.locator(FAILED).all_inner_texts()
        self._server.wait_idle(path)


def menu(page, command):
    """Choose a command of JupyterLab's Run menu."""
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.locator(f'.lm-Menu-item[data-command="runmenu:{command}"]').click()


@pytest.fixture
def pages(lab_server, browser):
    """The `Pages` of a test, on trial books."""
    with Pages(lab_server, browser) as pages:
        yield pages


@pytest.fixture
def run_notebook(pages):
    """Return a function that opens `notebooks/<name>`, runs all its cells and returns the page; see `Pages`."""
    return pages.run
