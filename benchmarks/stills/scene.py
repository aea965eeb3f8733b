"""A path-traced picture of a pool table, by Blender: `blender -b --python scene.py -- scene.json out.exr`.

Independent of aimgeo: the table is built from the published measures and the scene's own numbers, in metres, and
light is Cycles'. Linear light is written; `benchmarks/stills/make.py` bends it through the lens and adds what a
camera adds.
"""

import json
import math
import sys

import bmesh
import bpy
from mathutils import Matrix, Vector

scene_file, out_file = sys.argv[sys.argv.index("--") + 1 :][:2]
with open(scene_file) as opened:
    S = json.load(opened)
T = S["table"]
MM = 0.001
L, W = T["length_mm"] / 2, T["width_mm"] / 2
NOSE, RAIL, BACK = T["nose_mm"], T["rail_top_mm"], T.get("cushion_mm", 50.8)
OUTER = BACK + T["rail_mm"]

bpy.ops.wm.read_factory_settings(use_empty=True)
scene = bpy.context.scene


def material(name, colour, rough=0.9, specular=0.2, noise=0.0, scale=200.0, coat=0.0, stretch=(1, 1, 1), emit=0.0):
    made = bpy.data.materials.new(name)
    made.use_nodes = True
    nodes, links = made.node_tree.nodes, made.node_tree.links
    bsdf = nodes["Principled BSDF"]
    bsdf.inputs["Base Color"].default_value = (*colour, 1)
    bsdf.inputs["Roughness"].default_value = rough
    bsdf.inputs["Specular"].default_value = specular
    bsdf.inputs["Clearcoat"].default_value = coat
    if noise:
        coords, mapping, tex, ramp = (
            nodes.new(k)
            for k in ("ShaderNodeTexCoord", "ShaderNodeMapping", "ShaderNodeTexNoise", "ShaderNodeValToRGB")
        )
        mapping.inputs["Scale"].default_value = stretch
        tex.inputs["Scale"].default_value, tex.inputs["Detail"].default_value = scale, 6
        for k, factor in ((0, 1 - noise), (1, 1 + noise)):
            ramp.color_ramp.elements[k].color = (*(min(c * factor, 1) for c in colour), 1)
        ramp.color_ramp.elements[0].position, ramp.color_ramp.elements[1].position = 0.3, 0.7
        links.new(coords.outputs["Object"], mapping.inputs["Vector"])
        links.new(mapping.outputs["Vector"], tex.inputs["Vector"])
        links.new(tex.outputs["Fac"], ramp.inputs["Fac"])
        links.new(ramp.outputs["Color"], bsdf.inputs["Base Color"])
    return made


def mesh(name, vertices_mm, faces, made, smooth=False):
    data = bpy.data.meshes.new(name)
    data.from_pydata([[c * MM for c in v] for v in vertices_mm], [], faces)
    bm = bmesh.new()
    bm.from_mesh(data)
    bmesh.ops.recalc_face_normals(bm, faces=bm.faces)
    bm.to_mesh(data)
    bm.free()
    thing = bpy.data.objects.new(name, data)
    scene.collection.objects.link(thing)
    data.materials.append(made)
    if smooth:
        for face in data.polygons:
            face.use_smooth = True
    return thing


def box(name, x0, x1, y0, y1, z0, z1, made):
    corners = [(x, y, z) for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)]
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return mesh(name, corners, faces, made)


def disc(name, x, y, z, r, made, n=48, square=False, turn=0.0, aspect=1.0):
    n = 4 if square else n
    ring = [
        (
            x + r * math.cos(turn + 2 * math.pi * k / n) * (aspect if square else 1),
            y + r * math.sin(turn + 2 * math.pi * k / n),
            z,
        )
        for k in range(n)
    ]
    return mesh(name, ring, [tuple(range(n))], made)


def drum(x, y, r, z0, z1, made, n=64):
    ring = [(x + r * math.cos(2 * math.pi * k / n), y + r * math.sin(2 * math.pi * k / n)) for k in range(n)]
    low, high = [(*p, z0) for p in ring], [(*p, z1) for p in ring]
    sides = [(k, (k + 1) % n, n + (k + 1) % n, n + k) for k in range(n)]
    return mesh("drum", low + high, [*sides, tuple(range(n)), tuple(range(n, 2 * n))], made)


cloth = material("cloth", S["cloth"], 1.0, 0.05, 0.05, 900.0)
wood = material("wood", S["wood"], S.get("gloss", 0.4), 0.4, 0.35, 25.0, S.get("coat", 0.2), stretch=(0.15, 1, 1))
dark = material("dark", (0.012, 0.011, 0.01), 0.7)
pearl = material("pearl", S.get("sight", (0.85, 0.84, 0.8)), 0.35, 0.4)
spot_made = material("spot", (0.02, 0.02, 0.02), 0.8)

# pockets cut the slab of cloth and the rails
holes = [(sx * (L + 22), sy * (W + 22), 66.0) for sx in (1, -1) for sy in (1, -1)] + [
    (0.0, sy * (W + 52), 64.0) for sy in (1, -1)
]
slab = box("slab", -L - OUTER, L + OUTER, -W - OUTER, W + OUTER, -30, 0, cloth)
rails = []
for sx in (1, -1):
    a, b = sorted((sx * (L + BACK), sx * (L + OUTER)))
    rails.append(box("rail", a, b, -W - OUTER, W + OUTER, -120, RAIL, wood))
for sy in (1, -1):
    a, b = sorted((sy * (W + BACK), sy * (W + OUTER)))
    rails.append(box("rail", -L - BACK, L + BACK, a, b, -120, RAIL, wood))
for rail in rails if S.get("bevel_mm") else ():
    bevel = rail.modifiers.new("bevel", "BEVEL")
    bevel.width, bevel.segments = S["bevel_mm"] * MM, 3
for x, y, r in holes:
    cutter = drum(x, y, r, -200, 200, dark)
    cutter.hide_render = True
    for thing in (slab, *rails):
        cut = thing.modifiers.new("hole", "BOOLEAN")
        cut.object, cut.operation, cut.solver = cutter, "DIFFERENCE", "EXACT"
    # an open dark liner
    n = 48
    ring = [
        (x + (r - 1) * math.cos(2 * math.pi * k / n), y + (r - 1) * math.sin(2 * math.pi * k / n))
        for k in range(n)
    ]
    # as high as the rail where the wood is cut, below the cloth elsewhere
    high = [(*p, RAIL - 1.0 if abs(p[0]) > L + BACK or abs(p[1]) > W + BACK else -3.0) for p in ring]
    low = [(*p, -110) for p in ring]
    mesh(
        "liner", low + high, [*[(k, (k + 1) % n, n + (k + 1) % n, n + k) for k in range(n)], tuple(range(n))], dark
    )

# six cushions: noses between the pockets' points, facings usually at 142 and 104 degrees
k_corner, k_side = T["corner_mouth_mm"] / math.sqrt(2), T["side_mouth_mm"] / 2
corner_cot, side_cot = (1 / math.tan(math.radians(180 - a)) for a in S.get("facings_deg", (142.0, 104.0)))
back_z = min(RAIL - 0.5, NOSE + 6)
if round_mm := S.get("nose_radius_mm"):
    ring = [math.radians(a) for a in range(-60, 81, 20)]
    front = [(round_mm * (1 - math.cos(a)), NOSE + round_mm * math.sin(a)) for a in ring]
    section = [*front, (BACK, max(back_z, front[-1][1])), (BACK, 0.0), (S["nose_foot_mm"], 0.0)]
else:
    section = [(0.0, NOSE), (BACK, back_z), (BACK, 0.0), (14.0, 0.0), (1.0, NOSE - 6)]


def cushion(start, end, cot0, cot1, outward):
    """From a point to a point along the nose; outward is where the rail is."""
    s, e, o = Vector(start), Vector(end), Vector(outward)
    along = (e - s).normalized()
    rows = []
    for at, cot, sign in ((s, cot0, -1), (e, cot1, 1)):
        rows += [(*(at + o * d + along * sign * d * cot), z) for d, z in section]
    n = len(section)
    faces = [(k, (k + 1) % n, n + (k + 1) % n, n + k) for k in range(n)] + [
        tuple(range(n)),
        tuple(range(n, 2 * n)),
    ]
    mesh("cushion", rows, faces, cloth)


for sy in (1, -1):
    for sx in (1, -1):
        cushion((sx * k_side, sy * W), (sx * (L - k_corner), sy * W), side_cot, corner_cot, (0, sy))
for sx in (1, -1):
    cushion((sx * L, -W + k_corner), (sx * L, W - k_corner), corner_cot, corner_cot, (sx, 0))

away, top, size = T["sight_mm"], RAIL + 0.15, S.get("sight_size_mm", 7.0)
for i in range(1, 8):
    for sy in (1, -1):
        if i != 4:
            diamond = S.get("diamonds", True)
            disc("sight", -L + i * L / 4, sy * (W + away), top, size, pearl, square=diamond, aspect=0.6)
for i in (-1, 0, 1):
    for sx in (1, -1):
        disc("sight", sx * (L + away), i * W / 2, top, size, pearl, square=S.get("diamonds", True), aspect=1.6)
for x, y in S["spots"]:
    disc("spot", x, y, 0.12, S.get("spot_mm", 8.0), spot_made)
chalk = material("chalk", (0.55, 0.62, 0.7), 0.9)
for x, y, r in S.get("specks", []):
    disc("speck", x, y, 0.1, r, chalk, n=9)
for x, y in S.get("chalks", []):
    cube = material("chalk cube", (0.05, 0.15, 0.45), 0.9)
    box("chalk", x - 11, x + 11, y - 11, y + 11, RAIL, RAIL + 22, cube)
if S.get("apron"):
    below = material("below", tuple(0.7 * c for c in S["wood"]), 0.5, noise=0.3, scale=20.0, stretch=(0.15, 1, 1))
    box("apron", -L - OUTER + 25, L + OUTER - 25, -W - OUTER + 25, W + OUTER - 25, -270, -120, below)
    for sx in (1, -1):
        for sy in (1, -1):
            x, y = sx * (L - 180), sy * (W - 60)
            box("leg", x - 85, x + 85, y - 85, y + 85, -850, -270, below)

for ball in S["balls"]:
    made = material("ball", ball["colour"], ball.get("rough", 0.08), 0.5, coat=0.6)
    if ball.get("stripe"):
        nodes, links = made.node_tree.nodes, made.node_tree.links
        coords, split, absolute, less, mix = (
            nodes.new(k)
            for k in (
                "ShaderNodeTexCoord",
                "ShaderNodeSeparateXYZ",
                "ShaderNodeMath",
                "ShaderNodeMath",
                "ShaderNodeMixRGB",
            )
        )
        absolute.operation, less.operation = "ABSOLUTE", "LESS_THAN"
        less.inputs[1].default_value = 0.5 * S["radius_mm"] * MM
        mix.inputs["Color1"].default_value, mix.inputs["Color2"].default_value = (
            (0.8, 0.78, 0.7, 1),
            (*ball["colour"], 1),
        )
        links.new(coords.outputs["Object"], split.inputs[0])
        links.new(split.outputs["Z"], absolute.inputs[0])
        links.new(absolute.outputs[0], less.inputs[0])
        links.new(less.outputs[0], mix.inputs["Fac"])
        links.new(mix.outputs[0], nodes["Principled BSDF"].inputs["Base Color"])
    if ball.get("marks"):
        # a disc on both sides, or dots on six, of another colour
        nodes, links = made.node_tree.nodes, made.node_tree.links
        bsdf = nodes["Principled BSDF"]
        coords, split = nodes.new("ShaderNodeTexCoord"), nodes.new("ShaderNodeSeparateXYZ")
        links.new(coords.outputs["Object"], split.inputs[0])
        farthest = None
        for axis in "X" if ball["marks"] == "disc" else "XYZ":
            size = nodes.new("ShaderNodeMath")
            size.operation = "ABSOLUTE"
            links.new(split.outputs[axis], size.inputs[0])
            if farthest is not None:
                both = nodes.new("ShaderNodeMath")
                both.operation = "MAXIMUM"
                links.new(size.outputs[0], both.inputs[0])
                links.new(farthest, both.inputs[1])
                size = both
            farthest = size.outputs[0]
        over, mix = nodes.new("ShaderNodeMath"), nodes.new("ShaderNodeMixRGB")
        over.operation = "GREATER_THAN"
        over.inputs[1].default_value = {"disc": 0.86, "dots": 0.98}[ball["marks"]] * S["radius_mm"] * MM
        links.new(farthest, over.inputs[0])
        links.new(over.outputs[0], mix.inputs["Fac"])
        mix.inputs["Color1"].default_value = (*ball["colour"], 1)
        other = (0.8, 0.78, 0.7, 1) if ball["marks"] == "disc" else (0.5, 0.02, 0.02, 1)
        mix.inputs["Color2"].default_value = other
        if bsdf.inputs["Base Color"].links:
            links.new(bsdf.inputs["Base Color"].links[0].from_socket, mix.inputs["Color1"])
        links.new(mix.outputs[0], bsdf.inputs["Base Color"])
    bpy.ops.mesh.primitive_uv_sphere_add(
        segments=192,
        ring_count=96,
        radius=S["radius_mm"] * MM,
        location=[ball["at"][0] * MM, ball["at"][1] * MM, S["radius_mm"] * MM],
    )
    thing = bpy.context.object
    thing.rotation_euler = ball.get("turn", (0.6, 0.4, 0.2))
    thing.data.materials.append(made)
    for face in thing.data.polygons:
        face.use_smooth = True

if "cue" in S:
    bpy.ops.mesh.primitive_cone_add(vertices=48, radius1=0.0145, radius2=0.0062, depth=1.45)
    stick = bpy.context.object
    tip, butt = Vector(S["cue"][0]) * MM, Vector(S["cue"][1]) * MM
    stick.location = (tip + butt) / 2
    stick.rotation_euler = (tip - butt).to_track_quat("Z", "Y").to_euler()
    stick.data.materials.append(material("cue", (0.75, 0.5, 0.22), 0.3, 0.5))

for x0, x1, y0, y1, z0, z1, colour in S.get("in_the_way", []):
    box("in the way", x0, x1, y0, y1, z0, z1, material("in the way", colour, 0.8))

box(
    "floor",
    -6000,
    6000,
    -6000,
    6000,
    -860,
    -850,
    material("floor", S.get("floor", (0.09, 0.08, 0.07)), 0.8, noise=0.3, scale=3.0),
)
wall = material("wall", S.get("wall", (0.14, 0.14, 0.14)), 0.9)
for x0, x1, y0, y1 in (
    (5000, 5050, -6000, 6000),
    (-5050, -5000, -6000, 6000),
    (-6000, 6000, 4000, 4050),
    (-6000, 6000, -4050, -4000),
):
    box("wall", x0, x1, y0, y1, -850, 2600, wall)
if S.get("board"):
    skirting = material("skirting", S["board"], 0.6)
    for x0, x1, y0, y1 in (
        (4980, 5000, -4000, 4000),
        (-5000, -4980, -4000, 4000),
        (-5000, 5000, 3980, 4000),
        (-5000, 5000, -4000, -3980),
    ):
        box("skirting", x0, x1, y0, y1, -850, -720, skirting)
for x, y, wide, high, colour in S.get("pictures", []):
    # hung on the wall that it is nearest to
    if abs(x) > 4900:
        box("picture", x - 8, x + 8, y - wide / 2, y + wide / 2, 500, 500 + high, material("print", colour, 0.7))
    else:
        box("picture", x - wide / 2, x + wide / 2, y - 8, y + 8, 500, 500 + high, material("print", colour, 0.7))
for x, y, wide, high in S.get("furniture", []):
    box("thing", x, x + wide, y, y + wide * 0.6, -850, -850 + high, material("thing", (0.1, 0.05, 0.03), 0.6))

for lamp in S["lamps"]:
    data = bpy.data.lights.new("lamp", "AREA")
    data.shape, data.size, data.size_y, data.energy = "RECTANGLE", lamp["size"][0], lamp["size"][1], lamp["watt"]
    data.color = lamp.get("colour", (1, 0.95, 0.88))
    thing = bpy.data.objects.new("lamp", data)
    thing.location = [c * MM for c in lamp["at"]]
    scene.collection.objects.link(thing)
world = bpy.data.worlds.new("world")
scene.world = world
world.use_nodes = True
world.node_tree.nodes["Background"].inputs[0].default_value = (*S.get("sky", (0.05, 0.05, 0.055)), 1)

camera = S["camera"]
data = bpy.data.cameras.new("camera")
thing = bpy.data.objects.new("camera", data)
scene.collection.objects.link(thing)
scene.camera = thing
right, down, forward, eye = (Vector(camera[k]) for k in ("right", "down", "forward", "eye_mm"))
turn = Matrix((right, -down, -forward)).transposed().to_4x4()
thing.matrix_world = Matrix.Translation(eye * MM) @ turn
wide, high = camera["render_px"]
# Blender's shift is in parts of the larger side, positive to the right and up
larger = max(wide, high)
data.sensor_fit, data.sensor_width = ("HORIZONTAL" if wide >= high else "VERTICAL"), 36.0
data.sensor_height = 36.0
data.lens = camera["render_focal_px"] * 36.0 / larger
cx, cy = camera["render_principal_px"]
data.shift_x, data.shift_y = (wide / 2 - cx) / larger, (cy - high / 2) / larger
data.clip_start = 0.02

scene.render.engine = "CYCLES"
scene.cycles.device, scene.cycles.samples = "CPU", S.get("samples", 40)
scene.cycles.use_adaptive_sampling = True
scene.cycles.adaptive_threshold = 0.03
scene.cycles.use_denoising = False
scene.cycles.max_bounces, scene.cycles.diffuse_bounces, scene.cycles.glossy_bounces = 3, 1, 2
scene.cycles.sample_clamp_indirect = 3.0
scene.cycles.pixel_filter_type, scene.cycles.filter_width = "BLACKMAN_HARRIS", 1.5
scene.cycles.seed = 1
scene.render.resolution_x, scene.render.resolution_y, scene.render.resolution_percentage = wide, high, 100
scene.render.image_settings.file_format = "OPEN_EXR"
scene.render.image_settings.color_depth = "32"
scene.view_settings.view_transform = "Raw"
scene.render.threads_mode, scene.render.threads = "FIXED", S.get("threads", 2)
scene.render.filepath = out_file
bpy.ops.render.render(write_still=True)
