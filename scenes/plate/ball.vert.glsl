in vec2 corner;
in vec4 box;  // left, top, right, bottom in pixels
in vec4 sphere;
in vec3 tint;
in vec4 outline;  // centre in pixels, and with spread.xyz the symmetric matrix of the ellipse
in vec3 more;
in vec4 edge;  // colour of the rim and its width in pixels
in vec4 facing;  // of the paint: where the number is, and 0 for none, 1 number, 2 number and band, 3 marks
in vec3 upright;  // what the band runs around
in vec3 second;  // colour
out vec4 s;
out vec3 t;
out vec4 o;
out vec3 m;
out vec4 rim;
out vec4 f;
out vec3 u;
out vec3 d;
uniform vec2 size_px;
void main() {
    s = sphere;
    t = tint;
    o = outline;
    m = more;
    rim = edge;
    f = facing;
    u = upright;
    d = second;
    vec2 px = mix(box.xy, box.zw, corner * 0.5 + 0.5);
    gl_Position = vec4(2.0 * px / size_px - 1.0, 0.0, 1.0);
}
