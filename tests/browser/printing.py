"""A page on paper, as the browser prints it."""

import base64

from selenium.common.exceptions import WebDriverException

PAPERS_IN = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}
ATTEMPTS = 5  # on a busy machine the browser's printing process is not always there at the first call


def print_to_pdf(browser, paper, *, own_size=False):
    """Print what is shown; a size that the page itself asks for counts only where wanted."""
    width, height = PAPERS_IN[paper]
    wanted = {"paperWidth": width, "paperHeight": height, "preferCSSPageSize": own_size}
    for attempt in range(1, ATTEMPTS + 1):
        try:
            return base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", wanted)["data"])
        except WebDriverException as error:
            if "Printing failed" not in str(error) or attempt == ATTEMPTS:
                raise
    return b""
