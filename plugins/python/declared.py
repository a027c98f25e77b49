#!/usr/bin/env python3
"""The least an estimator plugin can be: a channel's zero is what the settings declare, by channel in amperes. README.md explains it."""
import math, os, sys, threading
from concurrent import futures

sys.dont_write_bytecode = True  # nothing is written beside this file
import grpc
from google.protobuf.json_format import MessageToDict
from ampledger.plugin.v1 import estimator_pb2 as pb, estimator_pb2_grpc as rpc


class Declared(rpc.EstimatorServiceServicer):
    def Configure(self, request, context):
        self.channels, self.offsets = {c.name: c for c in request.channels}, MessageToDict(request.settings)
        for name, offset in self.offsets.items():
            if name not in self.channels or type(offset) not in (int, float) or not math.isfinite(offset):
                context.abort(grpc.StatusCode.INVALID_ARGUMENT, f"setting {name!r}: {offset!r} is not the zero of a channel in amperes")
        return pb.EstimatorServiceConfigureResponse(method="the declared zero, held")

    def Restore(self, request, context):
        if request.state != b"declared/1":
            context.abort(grpc.StatusCode.INVALID_ARGUMENT, "the snapshot is not of declared/1")
        return pb.RestoreResponse()

    def Snapshot(self, request, context):
        return pb.SnapshotResponse(state=b"declared/1")

    def Run(self, requests, context):
        for summary in (request.summary for request in requests):
            answer = pb.RunResponse(device=summary.device, through_sequence=summary.last_sequence)
            for name in (channel.name for channel in summary.channels):
                if name not in self.channels:
                    context.abort(grpc.StatusCode.INVALID_ARGUMENT, f"channel {name!r} was not configured")
                u = self.channels[name].zero_uncertainty_amperes
                answer.channels.add(name=name, offset_amperes=self.offsets.get(name, 0), standard_uncertainty_amperes=u)
            yield answer


def serve(estimator):
    if os.environ.get("AMPLEDGER_PLUGIN") != "6f0b6f5e-raw-readings-in-amperes-out":
        sys.exit("this is a plugin: the daemon starts it if its configuration names it")
    if "1" not in os.environ["PLUGIN_PROTOCOL_VERSIONS"].split(",") or "PLUGIN_CLIENT_CERT" in os.environ:
        sys.exit("this plugin speaks version 1 of the protocol, without TLS: write plaintext: true beside its sha256")
    server, asked = grpc.server(futures.ThreadPoolExecutor(max_workers=4)), threading.Event()
    rpc.add_EstimatorServiceServicer_to_server(estimator, server)
    health = grpc.unary_unary_rpc_method_handler(lambda request, context: b"\x08\x01")  # HealthCheckResponse, status SERVING
    shutdown = grpc.unary_unary_rpc_method_handler(lambda request, context: asked.set() or b"")  # Empty
    server.add_generic_rpc_handlers([
        grpc.method_handlers_generic_handler("grpc.health.v1.Health", {"Check": health}),
        grpc.method_handlers_generic_handler("plugin.GRPCController", {"Shutdown": shutdown}),
    ])
    socket = os.path.join(os.environ["PLUGIN_UNIX_SOCKET_DIR"], "plugin")
    server.add_insecure_port("unix:" + socket)
    server.start()
    threading.Thread(target=end_with_daemon, args=[socket], daemon=True).start()
    print(f"1|1|unix|{socket}|grpc", flush=True)
    asked.wait()
    server.stop(grace=1).wait()


def end_with_daemon(socket):
    while os.read(0, 4096):  # standard input holds nothing and ends when the daemon has ended, however it did
        pass
    try:
        os.remove(socket)
        os.rmdir(os.path.dirname(socket))
    finally:
        os._exit(1)


if __name__ == "__main__":
    serve(Declared())
