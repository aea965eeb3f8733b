in vec3 at;
in vec3 n;
in vec2 ms;
uniform sampler2D weave;
uniform float pixel_rad;
uniform vec3 horizon;
uniform float weave_depth;
out vec4 colour;

const float TILE_MM = 96.0;
const float TEXEL_MM = TILE_MM / 512.0;

void main() {
    vec3 to_eye = eye_mm - at;
    float inv = inversesqrt(dot(to_eye, to_eye));
    float steep = to_eye.z * inv;
    float pool = pool_of_light(at.xy);
    // nap: cloth looks lighter along a flat line of sight
    float flat_sight = (1.0 - steep) * (1.0 - steep);
    float light = 1.0 + 0.16 * flat_sight * flat_sight * pool;
    // threads are told apart only close by: the level of detail follows a pixel's footprint on the cloth
    float level = log2(pixel_rad / (inv * max(steep, 0.02) * TEXEL_MM));
    if (level < 4.0) {
        float thread = textureLod(weave, at.xy / TILE_MM, max(level - 0.6, 0.0)).r - 0.5;
        light += weave_depth * min(4.0 - level, 1.0) * thread;
    }
    vec3 c = mix(cloth_far, cloth_near, pool) * light;
    if (half_bed_mm.x > 5000.0) c = mix(c, horizon, smoothstep(2500.0, 12000.0, 1.0 / inv));
    colour = vec4(dithered(c), 1.0);
}
