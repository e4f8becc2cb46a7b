"""Several trained networks of one shape -> one with the mean of their weights.

    average.py OUT.pt TRAINED.pt TRAINED.pt...

They must come from the same weights (other seeds of a run's last part): networks trained apart have nothing in common
that could be averaged.
"""
import sys

import torch


def main():
    out, *paths = sys.argv[1:]
    trained = [torch.load(path, map_location="cpu", weights_only=False) for path in paths]
    mean = {name: sum(t["network"][name].double() for t in trained) / len(trained) for name in trained[0]["network"]}
    torch.save(dict(network={k: v.float() for k, v in mean.items()}, config=trained[0]["config"], overall=trained[0]["overall"],
                    steps=sum(t["steps"] for t in trained)), out)


if __name__ == "__main__":
    main()
