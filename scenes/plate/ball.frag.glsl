in vec4 s;
in vec3 t;
in vec4 o;  // ellipse centre, A00, A01
in vec3 m;  // A11, gloss, opacity (negative: a veil without shading)
in vec4 rim;
in vec4 f;
in vec3 u;
in vec3 d;
uniform vec2 depth_terms;
uniform vec4 depth_row;
uniform vec3 room_low;
uniform vec3 room_high;
uniform float thrown_back;
out vec4 colour;

float panel(vec2 q, vec2 half_size, float soft) {
    vec2 d = abs(q) - half_size;
    return 1.0 - smoothstep(-soft, soft, max(d.x, d.y));
}

// how much of a cap a pixel shows: `along` is the cosine of its angle from the cap's middle, `edge` the cap's own
float cap(float along, float edge) {
    float soft = clamp(0.7 * fwidth(along), 1e-5, 0.1);
    return smoothstep(edge - soft, edge + soft, along);
}

// what is painted on the ball; the parts are those of scenes/board/painted.py
vec3 painted(vec3 N) {
    vec3 n = vec3(dot(N, f.xyz), dot(N, cross(u, f.xyz)), dot(N, u));
    vec3 a = abs(n);
    float white = cap(a.z, 0.62), disc = cap(a.x, 0.887919), dot_ = cap(max(a.x, max(a.y, a.z)), 0.979796);
    if (f.w < 0.5) return t;
    if (f.w > 2.5) return mix(t, d, dot_);
    return mix(f.w > 1.5 ? mix(t, d, white) : t, vec3(1.0), disc);
}

void main() {
    // coverage from the exact outline: distance to the ellipse to first order, right at the edge
    vec2 e = gl_FragCoord.xy - o.xy;
    vec2 g = vec2(o.z * e.x + o.w * e.y, o.w * e.x + m.x * e.y);
    float r = sqrt(max(dot(e, g), 1e-12));
    float outside = (r - 1.0) * r / max(length(g), 1e-9);
    float coverage = clamp(0.5 - outside, 0.0, 1.0);

    vec3 ray = normalize(ray_from_pixel * vec3(gl_FragCoord.xy, 1.0));
    vec3 from_ball = eye_mm - s.xyz;
    float half_b = dot(ray, from_ball);
    vec3 nearest = from_ball - half_b * ray;
    float inside = max(s.w * s.w - dot(nearest, nearest), 0.0);
    vec3 rel = nearest - sqrt(inside) * ray;
    vec3 N = normalize(rel);
    vec3 at = s.xyz + rel;
    float w = dot(depth_row, vec4(at, 1.0));
    gl_FragDepth = 0.5 + 0.5 * (depth_terms.x + depth_terms.y / w);

    float facing = max(-dot(N, ray), 0.0);
    // light: three shades above, an even room, and what the cloth throws back from below
    float lamp = 0.0;
    for (int i = -1; i <= 1; i++) {
        vec3 shade = vec3(float(i) * 0.5 * min(half_bed_mm.x, 1400.0), 0.0, LAMP_HEIGHT);
        vec3 L = shade - at;
        float l = length(L);
        float wrapped = (dot(N, L) / l + 0.35) / 1.35;
        lamp += max(wrapped, 0.0) * LAMP_HEIGHT / max(l, LAMP_HEIGHT * 0.8);
    }
    lamp /= 2.2;
    float up = N.z * 0.5 + 0.5;
    vec3 bounce = cloth_colour(at.xy) * thrown_back;
    float near_cloth = smoothstep(-1.0, -0.15, N.z);
    vec3 c = painted(N) * (0.56 + 0.13 * up + 0.34 * min(lamp, 1.15));
    c *= mix(vec3(0.60) + bounce, vec3(1.0), near_cloth);
    c *= mix(0.86, 1.0, smoothstep(0.0, 0.42, facing));

    // mirror: the cloth below, the dark room and the lamp above
    vec3 refl = reflect(ray, N);
    float fresnel = 0.03 + 0.45 * pow(1.0 - facing, 5.0);
    vec3 seen = refl.z < 0.0
        ? cloth_colour(at.xy - refl.xy * at.z / min(refl.z, -0.05))
        : mix(room_low, room_high, refl.z);
    c = mix(c, seen, fresnel);
    vec2 hit = at.xy + refl.xy * (LAMP_HEIGHT - at.z) / max(refl.z, 0.05);
    float spread = min(length(fwidth(hit)), 600.0);
    float shine = 0.0;
    for (int i = -1; i <= 1; i++) {
        vec2 q = hit - vec2(float(i) * 0.5 * min(half_bed_mm.x, 1400.0), 0.0);
        shine += panel(q, vec2(205.0, 150.0), 36.0 + 0.8 * spread);
    }
    c = mix(c, lamp_light, clamp(shine, 0.0, 1.0) * m.y * smoothstep(-60.0, 0.0, at.z) * smoothstep(0.05, 0.12, refl.z) * smoothstep(0.16, 0.34, facing));
    // little light falls into a pocket
    c *= 1.0 - 0.62 * smoothstep(10.0, -95.0, at.z);
    if (rim.a > 0.0) c = mix(rim.rgb, c, clamp(0.5 - outside - rim.a, 0.0, 1.0));
    if (coverage <= 0.0) discard;  // last, because neighbours' values are needed for fwidth
    colour = m.z < 0.0 ? vec4(t, -m.z * coverage) : vec4(dithered(c), m.z * coverage);
}
