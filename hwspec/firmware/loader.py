"""Copied to the board as /main.py: starts the newest complete slot; when that one fails, the older one.

Never changed by an update, so that a broken update leaves the board as it was.
"""

import sys

ROOT = ""


def start(root: str) -> None:
    """Start the newest slot whose files are all there and whole. Returns only when none could be started."""
    sys.path.insert(0, root + "/boot" if root else "/boot")
    from installer import newest  # type: ignore[import-not-found]

    for slot in newest(root, True):
        sys.path.insert(0, root + "/" + slot)
        try:
            from firmware.main import run  # type: ignore[import-not-found]

            run()
            return
        except Exception as error:  # noqa: BLE001  whatever it is, the older slot is worth a try
            print("slot", slot, "does not start:", error)
            sys.path.pop(0)
            for name in list(sys.modules):
                if name.split(".")[0] == "firmware":
                    del sys.modules[name]
    print("no firmware: install it with `loomwright board install`")


if __name__ == "__main__":
    start(ROOT)
