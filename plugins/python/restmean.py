#!/usr/bin/env python3
"""An offset estimator in plain Python: the zero of a channel is the mean of what it reads in rests. README.md says how to write your own."""
import json, math, sys, threading

sys.dont_write_bytecode = True  # nothing is written beside this file
import grpc
from google.protobuf.json_format import MessageToDict
from ampledger.plugin.v1 import estimator_pb2 as pb, estimator_pb2_grpc as rpc
from declared import serve

FORMAT = "restmean/1"  # of the snapshot
GATE = 5  # standard deviations beyond which a rest is not believed


class RestMean(rpc.EstimatorServiceServicer):
    """Per channel a scalar Kalman filter of a zero that walks: [offset in A, its variance in A², monotonic ns of the newest scan]."""

    def __init__(self):
        self.lock = threading.Lock()  # a snapshot is asked for while Run waits

    def Configure(self, request, context):
        settings = MessageToDict(request.settings)
        walk = settings.pop("walk_amperes_per_root_hour", 0)
        if settings:
            context.abort(grpc.StatusCode.INVALID_ARGUMENT, "unknown setting " + ", ".join(map(repr, sorted(settings))))
        if type(walk) not in (int, float) or not 0 <= walk < math.inf:
            context.abort(grpc.StatusCode.INVALID_ARGUMENT, f"setting walk_amperes_per_root_hour: {walk!r} is no number of 0 or more")
        self.walk = walk / 60  # A/√s
        self.noise = {c.name: c.noise_amperes for c in request.channels}
        self.zeros = {c.name: [0.0, c.zero_uncertainty_amperes**2, None] for c in request.channels}
        return pb.EstimatorServiceConfigureResponse(method="the mean of all rests, the newest weighing more if the zero walks")

    def Restore(self, request, context):
        try:
            state = json.loads(request.state)
            if not isinstance(state, dict) or state.get("format") != FORMAT:
                raise ValueError(f"not of format {FORMAT}")
            for name in self.zeros.keys() & state["zeros"].keys():
                offset, variance, last = state["zeros"][name]
                if not (math.isfinite(offset) and 0 <= variance < math.inf):
                    raise ValueError(f"channel {name}: {offset} A, variance {variance} A²")
                self.zeros[name] = [offset, variance + self.walk**2 * request.away_nanos * 1e-9, None]  # a new time base begins
        except (ValueError, TypeError, KeyError, AttributeError) as wrong:
            context.abort(grpc.StatusCode.INVALID_ARGUMENT, f"snapshot: {wrong}")
        return pb.RestoreResponse()

    def Snapshot(self, request, context):
        with self.lock:
            return pb.SnapshotResponse(state=json.dumps({"format": FORMAT, "zeros": self.zeros}).encode())

    def Run(self, requests, context):
        for request in requests:
            with self.lock:
                answer = pb.RunResponse(device=request.summary.device, through_sequence=request.summary.last_sequence)
                for c in request.summary.channels:
                    if c.name not in self.zeros:
                        context.abort(grpc.StatusCode.INVALID_ARGUMENT, f"channel {c.name!r} was not configured")
                    self.observe(request.summary, c, answer)
            yield answer

    def observe(self, summary, c, answer):
        offset, variance, last = self.zeros[c.name]
        now = summary.last_monotonic_nanos
        variance += self.walk**2 * max(0, now - (summary.first_monotonic_nanos if last is None else last)) * 1e-9
        if summary.rest == pb.REST_CERTAIN and c.reading_count and math.isfinite(c.mean_amperes + c.variance_square_amperes):
            noise = max(c.variance_square_amperes, self.noise[c.name] ** 2) / c.reading_count
            if abs(c.mean_amperes - offset) > GATE * math.sqrt(variance + noise):
                text = f"{c.mean_amperes:.4g} A in a rest, expected {offset:.4g} A ± {math.sqrt(variance + noise):.2g} A"
                answer.notes.add(channel=c.name, subject="rest rejected", text=text)
            elif variance + noise > 0:
                gain = variance / (variance + noise)
                offset, variance = offset + gain * (c.mean_amperes - offset), (1 - gain) * variance
        self.zeros[c.name] = [offset, variance, now]
        answer.channels.add(
            name=c.name, offset_amperes=offset, standard_uncertainty_amperes=math.sqrt(variance), walk_amperes_per_root_second=self.walk
        )


def main():
    serve(RestMean())


if __name__ == "__main__":
    main()
