"""A headless browser for the page, with what it logged and what it asked the network for."""

import contextlib
import json
import shutil
import tempfile

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)

needs_browser = pytest.mark.skipif(
    CHROMIUM is None or DRIVER is None, reason="no chromium with chromedriver is installed, so no page can be opened"
)


@contextlib.contextmanager
def browser(width=1200, height=900):
    """A browser that is closed at the end, its profile thrown away."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        options = webdriver.ChromeOptions()
        options.binary_location = CHROMIUM
        for flag in (*FLAGS, f"--user-data-dir={profile}", f"--window-size={width},{height}"):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        driver = webdriver.Chrome(options=options, service=Service(DRIVER))
        try:
            yield driver
        finally:
            driver.quit()


def opened(driver, path, anchor="", seconds=30):
    """Open a page from disk and wait until its script is done."""
    from selenium.webdriver.support.ui import WebDriverWait

    driver.get("about:blank")
    driver.get(path.as_uri() + anchor)
    WebDriverWait(driver, seconds, poll_frequency=0.02).until(
        lambda d: d.execute_script("return document.body.dataset.ready") == "yes"
    )


def requests(driver):
    """The addresses the browser asked for since this was last called."""
    found = []
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            found.append(message["params"]["request"]["url"])
    return found
