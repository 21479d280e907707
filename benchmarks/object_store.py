"""Two shops whose originals lie in one object store over a network; then the store dies.

Run from the project's folder, with s3fs and boto3 beside what the project needs::

    PYTHONPATH=src python benchmarks/object_store.py PROGRAM [FILES]

PROGRAM serves an object store at ``-p PORT`` (``moto_server`` of the library moto was used). What
one shop takes in, the other reads; the originals are checked where they lie; then the store is
killed. The table is written into benchmarks/object_store.md.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import httpx

from witnessmark.errors import StorageBusy
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.keeping.check_shop import check_shop

HERE = Path(__file__).resolve().parent


def shop_at(folder: Path) -> Shop:
    folder.mkdir()
    (folder / "shop.toml").write_text('originals = "s3://yard/one"\n', encoding="utf-8")
    return open_shop(folder, create=True)


def main() -> None:
    program, count = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 50
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    address = f"http://127.0.0.1:{port}"
    os.environ |= {
        "AWS_ACCESS_KEY_ID": "invented",
        "AWS_SECRET_ACCESS_KEY": "invented",
        "AWS_DEFAULT_REGION": "us-east-1",
        "AWS_ENDPOINT_URL": address,
    }
    store = subprocess.Popen([program, "-p", str(port)], stderr=subprocess.DEVNULL)
    try:
        for _ in range(600):
            with contextlib.suppress(httpx.TransportError):
                httpx.get(address, timeout=60)
                break
            time.sleep(0.2)
        import boto3  # noqa: PLC0415 - the environment has to stand first

        client = boto3.client("s3")
        client.create_bucket(Bucket="yard")
        with tempfile.TemporaryDirectory() as folder:
            rows = tried(Path(folder), client, store, count)
    finally:
        store.kill()
    text = [
        "# Originals in an object store",
        "",
        f"`PYTHONPATH=src python benchmarks/object_store.py {Path(program).name} {count}` made "
        "this: two shops on one store that speaks S3 over a network address of this machine (an "
        "imitation of such a store, kept in memory).",
        "",
        "| | |",
        "|---|---:|",
        *(f"| {words} | {figure} |" for words, figure in rows),
    ]
    (HERE / "object_store.md").write_text("\n".join(text) + "\n", encoding="utf-8")
    print("\n".join(text))


def tried(folder: Path, client, store: subprocess.Popen[bytes], count: int):
    one, other = shop_at(folder / "one"), shop_at(folder / "other")
    names, wrong = [], 0
    for number in range(count):
        content = hashlib.sha256(str(number).encode()).digest() * (1 + number * 997)
        names.append(one.store_file(io.BytesIO(content), f"{number}.log"))
        wrong += other.originals.path(names[-1]).read_bytes() != content
    keys = [k["Key"] for k in client.list_objects_v2(Bucket="yard")["Contents"]]
    for name in names:
        (one.folder / "recordings" / name).unlink()
    faults = len(check_shop(one).faults)
    client.put_object(Bucket="yard", Key=f"one/{names[0]}", Body=b"changed")
    seen = len(check_shop(one).faults)
    store.kill()
    store.wait()
    taken = 0
    with contextlib.suppress(StorageBusy):
        one.store_file(io.BytesIO(b"too late"), "late.log")
        taken = 1
    named = hashlib.sha256(b"too late").hexdigest() in one.casebook.file_names()
    one.new_case("goes-on")
    held = sum(other.originals.path(n).is_file() for n in names)
    one.close()
    other.close()
    return [
        ("files that one shop took in", len(names)),
        ("of them read otherwise by the other", wrong),
        ("objects in the store that are no original", sum("incoming" in k for k in keys)),
        ("faults found where they lie, all copies thrown away", faults),
        ("the same after one object was changed", seen),
        ("files said to be taken in after the store was killed", taken + named),
        ("copies that the other shop still reads then", held),
    ]


if __name__ == "__main__":
    main()
