// What cushions, rails, pockets, sights and the cue look like.
in vec3 at;
in vec3 n;
in vec2 ms;
out vec4 colour;

vec3 surface() {
    vec3 N = normalize(n);
    vec3 V = normalize(eye_mm - at);
    vec3 L = normalize(vec3(0.0, 0.0, LAMP_HEIGHT) - at * vec3(0.45, 0.45, 1.0));
    float light = 0.35 + 0.65 * max(dot(N, L), 0.0);
    float pool = pool_of_light(at.xy);
    vec3 c;
    if (ms.x < 0.5) {
        c = cloth_colour(at.xy) * ms.y * (0.72 + 0.36 * light) * 1.06;
    } else if (ms.x < 1.5) {
        float sheen = pow(max(dot(reflect(-V, N), L), 0.0), 14.0);
        float fresnel = 0.03 + 0.30 * pow(1.0 - max(dot(N, V), 0.0), 5.0);
        c = vec3(0.200, 0.157, 0.133) * (0.55 + 0.55 * pool) * light + LAMP * (0.05 * sheen + 0.10 * fresnel) * pool;
    } else if (ms.x < 2.5) {
        c = vec3(0.085, 0.082, 0.080) * ms.y * (0.6 + 0.6 * light);
    } else if (ms.x < 3.5) {
        c = vec3(0.006, 0.013, 0.015);
    } else if (ms.x < 4.5) {
        c = vec3(0.74, 0.78, 0.74) * (0.55 + 0.45 * pool);
    } else if (ms.x < 5.5) {
        c = vec3(0.086, 0.075, 0.070) * (0.4 + 0.6 * light) * smoothstep(-190.0, 30.0, at.z);
    } else {  // the cue: tip, ferrule, shaft, butt
        vec3 base = ms.x < 6.5 ? vec3(0.19, 0.30, 0.36) : ms.x < 7.5 ? vec3(0.90, 0.88, 0.82)
            : ms.x < 8.5 ? vec3(0.66, 0.55, 0.41) : vec3(0.16, 0.12, 0.10);
        float round_off = max(dot(N, V), 0.0);
        float sheen = pow(max(dot(reflect(-V, N), L), 0.0), 20.0);
        c = base * (0.42 + 0.58 * light) * mix(0.62, 1.0, round_off) * (0.7 + 0.3 * pool) + LAMP * 0.10 * sheen;
    }
    return dithered(c);
}
