"""The small networks of src/vision/network.rs: their form, their training, and their weights as Rust. Several are trained and
averaged: the mean of networks of one hidden layer is one network of as many units as they have together."""

import numpy as np
import torch

UNUSUAL = 4.0  # vision/network.rs


class Net(torch.nn.Module):
    """`inputs` numbers, `units` hidden units; `together` weights of what several things it judges are together."""

    def __init__(self, inputs, units, together=0):
        super().__init__()
        parameter = torch.nn.Parameter
        self.straight, self.bias = parameter(torch.zeros(inputs)), parameter(torch.tensor(0.0))
        self.together = parameter(torch.zeros(together))
        self.hidden = parameter(torch.randn(inputs, units) / inputs**0.5)
        self.hidden_bias, self.out = parameter(torch.zeros(units)), parameter(torch.randn(units) * 0.3)

    def forward(self, numbers):
        return numbers @ self.straight + self.bias + torch.relu(numbers @ self.hidden + self.hidden_bias) @ self.out

    def pull(self):
        """What draws the weights to 0."""
        return sum((w**2).sum() for w in (self.straight, self.hidden, self.out)) + 0.1 * (self.together**2).sum()


def usual(numbers, mean, spread):
    """Numbers in spreads from their means, as the network reads them."""
    return torch.tensor(((numbers - mean) / spread).clip(-UNUSUAL, UNUSUAL)).float()


def trained(net, seed, loss, decay, steps, top_rate=0.03):
    """The network that `net()` makes, trained so that `loss(network)` is least."""
    torch.manual_seed(seed)
    network = net()
    optimizer = torch.optim.Adam(network.parameters(), lr=top_rate)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimizer, top_rate, total_steps=steps)
    for _ in range(steps):
        optimizer.zero_grad()
        (loss(network) + decay * network.pull()).backward()
        optimizer.step()
        schedule.step()
    return network


def log_sum(utility, still_of, count, with_none):
    """Logarithm of the sum of exp(utility) in each still; with_none adds that there are no marks."""
    top = torch.full((count,), 0.0 if with_none else -1e4)
    top = top.scatter_reduce(0, still_of, utility.detach(), "amax")
    odds = torch.zeros(count).index_add(0, still_of, torch.exp(utility - top[still_of]))
    return top + torch.log((odds + (torch.exp(-top) if with_none else 0.0)).clamp_min(1e-30))


def together(nets):
    """Mean of the weights of what things are together."""
    return np.mean([net.together.detach().numpy() for net in nets], axis=0)


def as_rust(declaration, nets, mean, spread):
    """The mean of `nets` as the value of a Rust static, e.g. of `static NETWORK: Network<3, 4>`."""
    average = lambda part: np.mean([part(net).detach().numpy() for net in nets], axis=0)
    joined = lambda part: np.concatenate([part(net).detach().numpy() for net in nets], axis=-1)
    fields = {
        "mean": mean,
        "spread": spread,
        "hidden_weight": joined(lambda net: net.hidden).T,
        "hidden_bias": joined(lambda net: net.hidden_bias),
        "out_weight": joined(lambda net: net.out) / len(nets),
        "straight_weight": average(lambda net: net.straight),
        "out_bias": average(lambda net: net.bias),
    }
    return f"{declaration} = Network {{\n" + "".join(f"    {name}: {value(v)},\n" for name, v in fields.items()) + "};"


def value(numbers):
    numbers = np.asarray(numbers)
    return number(numbers) if numbers.ndim == 0 else "[" + ", ".join(map(value, numbers)) + "]"


def number(v):
    text = f"{v:.3g}" if abs(v) >= 1e-3 else "0.0"
    return text if "." in text or "e" in text else text + ".0"
