# What the notebook itself finds on the sign-off runs: root mean square errors by output.
import json

errors = numpy.concatenate([predict(x) - y for _, x, y in runs[1::2]])
with open("errors.json", "w") as f:
    json.dump(dict(zip([o[0] for o in outputs], numpy.sqrt(numpy.mean(errors**2, axis=0)))), f)
