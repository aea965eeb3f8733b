in vec2 from_centre;
in vec3 b;
in vec2 h;  // height of the centre, opacity
out vec4 colour;
uniform vec3 cloth_shade;
void main() {
    float R = b.z;
    // what a sphere takes of an even sky: the cosine-weighted solid angle, in closed form
    float l2 = dot(from_centre, from_centre) + h.x * h.x;
    float sky = h.x * R * R / (l2 * sqrt(l2));
    // and what it takes of each of the lamp's three shades: a soft disc, thrown away from the shade
    float lamp = 0.0;
    for (int i = -1; i <= 1; i++) {
        vec2 shade = vec2(float(i) * 0.5 * min(half_bed_mm.x, 1400.0), 0.0);
        vec2 thrown = (b.xy - shade) * h.x / (LAMP_HEIGHT - h.x);
        float soft = R * (0.55 + 0.25 * length(thrown) / R);
        lamp += 1.0 - smoothstep(R - soft, R + soft, length(from_centre - thrown));
    }
    float fade = 1.0 - smoothstep(3.6 * R, 5.0 * R, length(from_centre));
    float dark = 1.0 - (1.0 - 0.80 * sky) * (1.0 - 0.19 * lamp);
    colour = vec4(cloth_shade, clamp(dark, 0.0, 0.93) * fade * h.y * clamp(h.x / R, 0.0, 1.0));
}
