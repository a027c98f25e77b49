"""Feed a device of the daemon with a rig's scans and print what comes of them.

Generate the stubs first (Debian: python3-grpcio, protobuf-compiler, protobuf-compiler-grpc), then run it:
  protoc -I proto --python_out=stubs --grpc_python_out=stubs --plugin=protoc-gen-grpc_python=$(which grpc_python_plugin) \
    proto/ampledger/v1/{reading,charge,abuse,feed}.proto
  PYTHONPATH=stubs python3 client/example/feed.py /path/to/ampledger.sock DEVICE SECONDS
"""
import math
import queue
import sys
import uuid

import grpc
from ampledger.v1 import feed_pb2 as pb, feed_pb2_grpc

socket, device, seconds = sys.argv[1], sys.argv[2], int(sys.argv[3])
requests = queue.Queue()  # what is put here goes out; None ends the rig's side
with grpc.insecure_channel("unix:" + socket) as channel:
    responses = feed_pb2_grpc.FeedServiceStub(channel).Feed(iter(requests.get, None))
    requests.put(pb.FeedRequest(hello=pb.FeedHello(device=device, rig="example", session=str(uuid.uuid4()))))
    welcome = next(responses).welcome
    print("inputs:", ", ".join(f"{i.name} in {i.unit}" for i in welcome.inputs))

    for second in range(seconds):  # a frame a second, 1 kHz, every input the same current in amperes, 100 counts each
        amperes = [50 + 30 * math.sin(math.tau * k / 1000) for k in range(1000)]
        frame = pb.FeedFrame(first_sequence=1000 * second, first_monotonic_nanos=second * 10**9, period_nanos=10**6, scan_count=1000)
        for i in welcome.inputs:
            column = frame.columns.add()
            if i.unit == "code":
                column.codes.extend(round(100 * a) for a in amperes)
            else:
                column.values.extend(amperes)
        frame.marks.add(first_index=500, scan_count=1, quality_bits=1)  # a fault: this scan has no value
        requests.put(pb.FeedRequest(frame=frame))
        answer = next(responses).acknowledgement  # an error of the daemon's shows here, as grpc.RpcError
        for charge in answer.charges:  # in lockstep
            a = charge.account
            print(f"{answer.next_sequence} {a.channel}: {a.out_microcoulombs / 1e6:.3f} C out, {a.reading_count} readings, {a.unusable.missing_count} missing")
    requests.put(None)
    for _ in responses:
        pass
