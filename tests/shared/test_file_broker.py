"""Messages as files: whole or not at all, each read once, and none that ends the worker."""

import logging
import threading
import time
from queue import Empty

import pytest
from kombu import Connection

from shared.config import file_broker


@pytest.fixture
def queue_of(tmp_path):
    """Return the function that opens a queue in folders of the test's own."""
    file_broker.register()
    for name in ("messages", "done", "control"):
        (tmp_path / name).mkdir()
    options = {
        "data_folder_in": str(tmp_path / "messages"),
        "data_folder_out": str(tmp_path / "messages"),
        "processed_folder": str(tmp_path / "done"),
        "control_folder": str(tmp_path / "control"),
    }
    opened = []

    def make(channel=False):
        connection = Connection("shopfiles://localhost", transport_options=options)
        opened.append(connection)
        return connection.channel() if channel else connection.SimpleQueue("work")

    yield make
    for connection in opened:
        connection.release()


def test_a_message_that_is_empty_is_left_out_and_the_next_one_read(queue_of, tmp_path, caplog):
    (tmp_path / "messages" / "0_empty.work.msg").write_bytes(b"")
    (tmp_path / "messages" / "0_torn.work.msg").write_bytes(b'{"body": "abc')
    queue = queue_of()
    queue.put({"n": 1})
    with caplog.at_level(logging.WARNING):
        message = queue.get(timeout=5)
    message.ack()
    assert message.payload == {"n": 1}
    assert "A message of 0 bytes could not be read" in caplog.text
    assert "A message of 13 bytes could not be read" in caplog.text
    assert list((tmp_path / "messages").iterdir()) == []


def test_two_readers_beside_two_writers_get_each_message_once(queue_of):
    each, got, empties = 60, [], []

    def write(first):
        channel = queue_of(channel=True)
        for n in range(first, first + each):
            channel._put("work", {"n": n, "text": "x" * 5000})

    def read():
        channel = queue_of(channel=True)
        until = time.monotonic() + 20
        while len(got) < 2 * each and time.monotonic() < until:
            try:
                got.append(channel._get("work")["n"])
            except Empty:
                empties.append(1)

    work = [threading.Thread(target=write, args=(first,)) for first in (0, each)]
    work += [threading.Thread(target=read) for _ in range(2)]
    for one in work:
        one.start()
    for one in work:
        one.join(30)
    assert sorted(got) == list(range(2 * each))


def test_a_table_in_the_middle_of_being_written_is_read_again(queue_of, tmp_path):
    channel = queue_of(channel=True)
    table = tmp_path / "control" / "work.exchange"
    table.write_bytes(b"")
    threading.Timer(0.2, lambda: table.write_text('[["work", "", "work"]]')).start()
    (row,) = channel.get_table("work")
    assert row.queue == "work"
