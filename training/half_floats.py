"""Weights of an ONNX file as half floats, which OpenCV widens when it reads them."""

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper

SUFFIX = "_half"
_FEWEST = 64  # values; smaller tensors stay as they are


def halved(path):
    """Keep an ONNX file's weights as half floats, each widened by a node of its own."""
    model = onnx.load(path)
    graph = model.graph
    nodes = []
    for tensor in graph.initializer:
        values, name = numpy_helper.to_array(tensor), tensor.name
        if values.dtype == np.float32 and values.size > _FEWEST:
            tensor.CopyFrom(numpy_helper.from_array(values.astype(np.float16), name + SUFFIX))
            nodes.append(helper.make_node("Cast", [name + SUFFIX], [name], to=TensorProto.FLOAT))
    for k, node in enumerate(nodes):
        graph.node.insert(k, node)
    onnx.save(model, path)


def weights_of(path):
    """The weights of an ONNX file by their names, halved or not, as single floats."""
    given = {one.name: numpy_helper.to_array(one) for one in onnx.load(path).graph.initializer}
    return {
        name.removesuffix(SUFFIX): v.astype(np.float32) if v.dtype == np.float16 else v
        for name, v in given.items()
    }
